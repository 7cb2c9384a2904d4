package book

import (
	"context"
	"fmt"
	"math"
	"reflect"
	"sort"
	"strings"

	"offtype/pipeline/exchange"
	"offtype/pipeline/record"
)

// HarvestTables gives one harvest as tables for other programs: fruits (one row a fruit with everything
// measured), observations, plants, lots, and the tables of MIAPPE 1.1 (minimum information about a
// plant phenotyping experiment) with its field numbers in the titles of the columns.
func (b *Book) HarvestTables(ctx context.Context, harvest string) ([]exchange.Table, error) {
	h, err := b.Harvest(ctx, harvest)
	if err != nil {
		return nil, err
	}
	run, err := b.LoadRunWith(ctx, harvest, LoadOptions{NoOutlines: true})
	if err != nil {
		return nil, err
	}
	w := &wide{h: &h, run: &run}
	return []exchange.Table{w.study(), w.units(), w.variables(), w.fruits(), w.observations(), w.plants(), w.lots()}, nil
}

type wide struct {
	h   *Harvest
	run *record.Run
}

func str(name, title string) exchange.Field {
	return exchange.Field{Name: name, Type: exchange.String, Title: title}
}

// empties turns empty texts into missing cells.
func empties(row []any) []any {
	for i, v := range row {
		switch x := v.(type) {
		case string:
			if x == "" {
				row[i] = nil
			}
		case float64:
			if math.IsNaN(x) || math.IsInf(x, 0) {
				row[i] = nil
			}
		case *float64:
			row[i] = nil
			if x != nil {
				row[i] = *x
			}
		case *int:
			row[i] = nil
			if x != nil {
				row[i] = int64(*x)
			}
		}
	}
	return row
}

func (w *wide) plantID(number string) string { return w.h.Name + ":plant:" + number }

func (w *wide) fruitID(photo string, n int) string {
	return fmt.Sprintf("%s:fruit:%s:%d", w.h.Name, photo, n)
}

// study is the investigation and study section, one row.
func (w *wide) study() exchange.Table {
	t := exchange.Table{Name: "miappe_study", Title: "MIAPPE 1.1: investigation and study", Fields: []exchange.Field{
		str("investigation_title", "DM-3 investigation title"), str("miappe_version", "DM-8 MIAPPE version"), str("study_title", "DM-12 study title"),
		{Name: "start_date", Type: exchange.Date, Title: "DM-14 start date of study"}, str("contact_institution", "DM-16 contact institution"),
		str("country", "DM-17 geographic location (country)"), str("site_name", "DM-18 experimental site name"), str("design", "DM-22 description of the experimental design"),
		str("observation_unit_description", "DM-25 observation unit description"), str("growth_facility", "DM-26 description of growth facility"), str("person_name", "DM-31 person name"),
		str("person_role", "DM-34 person role"), str("data_file_link", "DM-37 data file link"), str("data_file_description", "DM-38 data file description"),
		str("method", "program and version"),
	}}
	var g Grower
	if w.h.Grower != nil {
		g = *w.h.Grower
	}
	start := w.h.Picked
	for _, l := range w.h.Lots {
		if l.Sown != "" && (start == "" || l.Sown < start) {
			start = l.Sown
		}
	}
	t.Rows = [][]any{empties([]any{"Fruit of " + w.h.Name, "1.1", w.h.Name, start, g.Name, g.Country, g.Place, "single plants of one or more seed lots, no replication beyond the plant",
		"plant, and fruit within the plant", "field or garden bed", g.Name, "grower", "fruits.csv", "one row a fruit", w.run.Program})}
	return t
}

// units is the observation unit section: plants and their fruit.
func (w *wide) units() exchange.Table {
	t := exchange.Table{Name: "miappe_observation_units", Title: "MIAPPE 1.1: observation units, biological material, samples", PrimaryKey: []string{"observation_unit_id"}, Fields: []exchange.Field{
		{Name: "observation_unit_id", Type: exchange.String, Title: "DM-70 observation unit ID"}, str("observation_unit_type", "DM-71 observation unit type"),
		str("part_of", "observation unit that it is part of"), str("biological_material_id", "DM-41 biological material ID"), str("organism", "DM-42 organism"),
		str("material_source_id", "DM-50 material source ID: supplier and lot number"), str("anatomical_entity", "DM-78 plant anatomical entity"),
		{Name: "collection_date", Type: exchange.Date, Title: "DM-80 collection date"}, str("entry_type", "control or test"),
	}}
	lot := map[string]Lot{}
	for _, l := range w.h.Lots {
		lot[l.Code] = l
	}
	var own Lot
	if w.h.Lot != nil {
		own = *w.h.Lot
	}
	for _, p := range w.h.Plants {
		l := lot[p.Lot]
		entry := "test"
		if p.Control {
			entry = "control"
		}
		t.Rows = append(t.Rows, empties([]any{w.plantID(p.Number), "plant", "", p.Lot, l.Species, strings.TrimSpace(l.Supplier + " " + l.SupplierLot), "", "", entry}))
	}
	for _, f := range w.run.Fruits {
		l, of := own, ""
		if p := w.h.PlantNamed(f.Plant); p != nil {
			l, of = lot[p.Lot], w.plantID(f.Plant)
		}
		t.Rows = append(t.Rows, empties([]any{w.fruitID(f.Photo, f.Number), "fruit", of, l.Code, l.Species, strings.TrimSpace(l.Supplier + " " + l.SupplierLot), "fruit", w.h.Picked, "test"}))
	}
	return t
}

// variables is the observed variable section.
func (w *wide) variables() exchange.Table {
	t := exchange.Table{Name: "miappe_variables", Title: "MIAPPE 1.1: observed variables", PrimaryKey: []string{"variable_id"}, Fields: []exchange.Field{
		{Name: "variable_id", Type: exchange.String, Title: "DM-83 variable ID"}, str("variable_name", "DM-84 variable name"), str("trait", "DM-86 trait"),
		str("method", "DM-88 method"), str("scale", "DM-92 scale"),
	}}
	for _, f := range valueFields {
		t.Rows = append(t.Rows, empties([]any{f.name, f.name, strings.ReplaceAll(strings.TrimSuffix(f.name, "_"+f.unit), "_", " "), "from a photo with a scale card", scale(f.unit)}))
	}
	for _, c := range colourFields {
		t.Rows = append(t.Rows, []any{c.name + "_lab", c.name + "_lab", c.name + " colour", "from a photo with a scale card", "CIELAB, D65, 2°"})
	}
	for _, x := range HandTraits {
		s := scale(x.Unit)
		if len(x.Words) > 0 {
			s = strings.Join(x.Words, "; ")
		} else if x.Hi == 0 {
			s = "words"
		}
		t.Rows = append(t.Rows, []any{"hand_" + x.Name, "hand_" + x.Name, strings.ReplaceAll(x.Name, "_", " "), "by hand", s})
	}
	return t
}

func scale(unit string) string {
	if unit == "" {
		return "number without unit"
	}
	return unit
}

// fruits is one row a fruit with every measured value.
func (w *wide) fruits() exchange.Table {
	t := exchange.Table{Name: "fruits", Title: "Fruit of harvest " + w.h.Name, PrimaryKey: []string{"observation_unit_id"}, Fields: []exchange.Field{
		str("observation_unit_id", "DM-70 observation unit ID"), str("photo", ""), {Name: "fruit", Type: exchange.Integer}, str("plant", ""), str("pose", ""),
		str("pattern", ""), {Name: "ribs", Type: exchange.Integer}, {Name: "group", Type: exchange.Integer}, {Name: "membership", Type: exchange.Number}, str("verdict", ""), str("notes", ""), str("photo_sha256", "")}}
	for _, f := range valueFields {
		t.Fields = append(t.Fields, exchange.Field{Name: f.name, Type: exchange.Number, Unit: f.unit},
			exchange.Field{Name: f.name + "_u", Type: exchange.Number, Unit: f.unit, Description: "expanded uncertainty, k = 2"})
	}
	for _, c := range colourFields {
		for _, x := range []string{"l", "a", "b"} {
			t.Fields = append(t.Fields, exchange.Field{Name: c.name + "_" + x, Type: exchange.Number, Unit: "CIELAB D65 2°"})
		}
		t.Fields = append(t.Fields, exchange.Field{Name: c.name + "_u", Type: exchange.Number, Unit: "ΔE00", Description: "expanded uncertainty, k = 2"})
	}
	group, verdict, sum := map[record.Key]record.Membership{}, map[record.Key]record.Verdict{}, map[string]string{}
	for _, g := range w.run.Groups {
		group[g.Key] = g
	}
	for _, v := range w.run.Judgement.Fruits {
		verdict[record.Key{Photo: v.Photo, Number: v.Fruit}] = v.Verdict
	}
	for _, p := range w.run.Photos {
		sum[p.Name] = p.SHA256
	}
	for i := range w.run.Fruits {
		f := &w.run.Fruits[i]
		row := []any{w.fruitID(f.Photo, f.Number), f.Photo, int64(f.Number), f.Plant, string(f.Pose), f.Pattern, nil, nil, nil, string(verdict[f.Key()]), strings.Join(f.Notes, ";"), sum[f.Photo]}
		if f.Ribs >= 0 {
			row[6] = int64(f.Ribs)
		}
		if g, ok := group[f.Key()]; ok {
			row[7], row[8] = int64(g.Group), g.Membership
		}
		v := reflect.ValueOf(f).Elem()
		for _, c := range valueFields {
			x := v.Field(c.index).Interface().(record.Value)
			row = append(row, x.V, x.U)
		}
		for _, c := range colourFields {
			if x := v.Field(c.index).Interface().(*record.Lab); x != nil {
				row = append(row, x.L, x.A, x.B, x.U)
			} else {
				row = append(row, nil, nil, nil, nil)
			}
		}
		t.Rows = append(t.Rows, empties(row))
	}
	return t
}

func (w *wide) observations() exchange.Table {
	t := exchange.Table{Name: "observations", Title: "Observations by hand", Fields: []exchange.Field{
		str("observation_unit_id", "DM-70 observation unit ID"), {Name: "group", Type: exchange.Integer}, str("variable_id", "DM-83 variable ID"), {Name: "value", Type: exchange.Number},
		str("words", ""), str("unit", ""), {Name: "date", Type: exchange.Date}, str("by", ""), str("note", ""), str("lost", "why it could not follow its fruit")},
		ForeignKeys: []exchange.ForeignKey{{Field: "variable_id", Resource: "miappe_variables", Key: "variable_id"}}}
	for _, o := range w.h.Observations {
		unit := any(nil)
		var grp any
		switch {
		case o.Plant != "":
			unit = w.plantID(o.Plant)
		case o.Group != 0:
			grp = int64(o.Group)
		case o.Photo != "":
			unit = w.fruitID(o.Photo, o.Fruit)
		}
		t.Rows = append(t.Rows, empties([]any{unit, grp, "hand_" + o.Trait, o.Value, o.Words, o.Unit, o.Date, o.By, o.Note, o.Lost}))
	}
	return t
}

func (w *wide) plants() exchange.Table {
	t := exchange.Table{Name: "plants", Title: "Plants", Fields: []exchange.Field{
		str("observation_unit_id", "DM-70 observation unit ID"), str("number", ""), str("planting", ""), str("bed", ""), str("lot", ""), {Name: "control", Type: exchange.Boolean}, str("habit", ""), str("leaf", ""), str("disease", ""),
		str("fate", ""), {Name: "flowered", Type: exchange.Date}, {Name: "first_ripe", Type: exchange.Date}, {Name: "fruit_count", Type: exchange.Integer}, {Name: "ripe_count", Type: exchange.Integer},
		{Name: "weight_g", Type: exchange.Number, Unit: "g"}, {Name: "isolation_m", Type: exchange.Number, Unit: "m"}, str("pollination", ""), str("note", "")}}
	for _, p := range w.h.Plants {
		t.Rows = append(t.Rows, empties([]any{w.plantID(p.Number), p.Number, p.Planting, p.Bed, p.Lot, p.Control, p.Habit, p.Leaf, p.Disease, p.Fate, p.Flowered, p.FirstRipe, p.FruitCount, p.RipeCount, p.WeightG, p.IsolationM, p.Pollination, p.Note}))
	}
	return t
}

func (w *wide) lots() exchange.Table {
	t := exchange.Table{Name: "lots", Title: "Seed lots", PrimaryKey: []string{"code"}, Fields: []exchange.Field{
		str("code", "DM-41 biological material ID"), str("variety", ""), str("species", "DM-42 organism"), str("supplier", ""), str("supplier_lot", "DM-50 material source ID"), {Name: "bought", Type: exchange.Date},
		str("packet", ""), {Name: "sown", Type: exchange.Date}, {Name: "seeds_sown", Type: exchange.Integer}, {Name: "seeds_germinated", Type: exchange.Integer}, str("origin", ""), str("kind", ""),
		str("generation", ""), str("pollination", ""), str("mother", ""), str("father", ""), {Name: "isolation_m", Type: exchange.Number, Unit: "m"}, str("seed_left", ""), str("note", "")}}
	ls := append([]Lot(nil), w.h.Lots...)
	sort.SliceStable(ls, func(i, j int) bool { return ls[i].Code < ls[j].Code })
	for _, l := range ls {
		t.Rows = append(t.Rows, empties([]any{l.Code, l.Variety, l.Species, l.Supplier, l.SupplierLot, l.Bought, l.Packet, l.Sown, l.SeedsSown, l.SeedsGerminated, l.Origin, l.Kind, l.Generation, l.Pollination, l.Mother, l.Father, l.IsolationM, l.SeedLeft, l.Note}))
	}
	return t
}
