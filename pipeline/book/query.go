package book

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"offtype/pipeline/record"
)

// Grower is who grew a harvest. It, Lot, Plant, Picture, Decision and Note are entries of the book as other packages
// read them; an empty text is nothing written down.
type Grower struct{ Name, Place, Country, Contact, Note string }

// Lot is a seed lot.
type Lot struct {
	Code, Variety, Species, Protected     string
	Supplier, SupplierLot, Bought, Packet string
	Sown                                  string
	SeedsSown, SeedsGerminated            *int
	Origin, Kind, Generation, Pollination string
	Mother, Father                        string // PLANTING/NUMBER
	IsolationM                            *float64
	SeedLeft, Note                        string
	Pictures                              []Picture
}

// Plant is a plant of one of the harvest's plantings.
type Plant struct {
	Number, Planting, Lot, Bed                      string
	Season                                          *int
	Control                                         bool
	Habit, Leaf, Disease, Fate, Flowered, FirstRipe string
	FruitCount, RipeCount                           *int
	WeightG, IsolationM                             *float64
	Pollination, Note                               string
	Pictures                                        []Picture
}

// Picture is a picture that is looked at, not measured.
type Picture struct {
	ID                              int64 // Remove takes it back by this number
	File, SHA256, Kind, Taken, Note string
}

// Decision is what a person decided, kept apart from what was computed.
type Decision struct {
	ID                            int64
	Photo                         string
	Fruit                         int
	Plant                         string
	Kind, Value, Reason, Made, By string
	Lost                          string
}

// Harvest is a harvest with everything entered by hand; LoadRun gives what was measured.
type Harvest struct {
	Name, Picked, Stage, Note string
	Season                    *int
	Grower                    *Grower
	Lot                       *Lot  // the harvest's lot
	Lots                      []Lot // all lots of its plants, the harvest's first
	Plants                    []Plant
	Observations              []Observation
	Decisions                 []Decision
	Notes                     []string
	Revision                  int    // 0: never measured
	Recorded                  string // when the newest measurement was finished
	Program                   string
	Settings                  map[string]string
}

// Summary is a line of the list of harvests.
type Summary struct {
	Name, Lot, Variety, Picked, Recorded string
	Season                               *int
	Revision, Photos, Fruits             int
}

// ListHarvests lists the harvests, oldest season first.
func (b *Book) ListHarvests(ctx context.Context) ([]Summary, error) {
	var out []Summary
	err := b.read(ctx, func(tx *sql.Tx) error {
		return each(ctx, tx, func(rows *sql.Rows) error {
			var s Summary
			var picked, rec sql.NullString
			if err := rows.Scan(&s.Name, &s.Season, &picked, &s.Lot, &s.Variety, &s.Revision, &rec, &s.Photos, &s.Fruits); err != nil {
				return err
			}
			s.Picked, s.Recorded = picked.String, rec.String
			out = append(out, s)
			return nil
		}, `SELECT h.name, h.season, h.picked, coalesce(l.code, ''), coalesce(v.name, ''), coalesce(r.revision, 0), r.finished,
			(SELECT count(*) FROM photos p WHERE p.run_id = r.id AND p.status <> 'listed'),
			(SELECT count(*) FROM photos p JOIN measurements m ON m.photo_id = p.id WHERE p.run_id = r.id)
			FROM harvests h LEFT JOIN lots l ON l.id = h.lot_id LEFT JOIN varieties v ON v.id = l.variety_id
			LEFT JOIN runs r ON r.id = (SELECT id FROM runs x WHERE x.harvest_id = h.id AND x.finished IS NOT NULL ORDER BY x.revision DESC LIMIT 1)
			ORDER BY h.season, h.picked, h.id`)
	})
	if err != nil {
		return nil, fmt.Errorf("list harvests: %w", err)
	}
	return out, nil
}

// Harvest reads a harvest with lot, plants, observations and decisions.
//
// Errors: ErrNotFound.
func (b *Book) Harvest(ctx context.Context, name string) (Harvest, error) {
	h := Harvest{Name: name}
	err := b.read(ctx, func(tx *sql.Tx) error {
		hid, err := harvestID(ctx, tx, name)
		if err != nil {
			return err
		}
		for _, f := range []func(context.Context, *sql.Tx, int64) error{h.head, h.plants, h.lots, h.observations, h.decisions, h.notes} {
			if err := f(ctx, tx, hid); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return Harvest{}, readError(name, err)
	}
	return h, nil
}

func (h *Harvest) head(ctx context.Context, tx *sql.Tx, hid int64) error {
	var picked, settings, program, finished sql.NullString
	var rev sql.NullInt64
	var g [5]sql.NullString
	err := tx.QueryRowContext(ctx, `SELECT h.season, h.picked, h.stage, h.note, g.name, g.place, g.country, g.contact, g.note, r.revision, r.finished, r.program, r.settings
		FROM harvests h LEFT JOIN growers g ON g.id = h.grower_id
		LEFT JOIN runs r ON r.id = (SELECT id FROM runs x WHERE x.harvest_id = h.id AND x.finished IS NOT NULL ORDER BY x.revision DESC LIMIT 1)
		WHERE h.id = ?`, hid).Scan(&h.Season, &picked, &h.Stage, &h.Note, &g[0], &g[1], &g[2], &g[3], &g[4], &rev, &finished, &program, &settings)
	if err != nil {
		return err
	}
	h.Picked, h.Revision, h.Recorded, h.Program = picked.String, int(rev.Int64), finished.String, program.String
	if g[0].Valid {
		h.Grower = &Grower{g[0].String, g[1].String, g[2].String, g[3].String, g[4].String}
	}
	if settings.Valid {
		return json.Unmarshal([]byte(settings.String), &h.Settings)
	}
	return nil
}

const pictureQuery = "SELECT id, file, sha256, kind, coalesce(taken, ''), note FROM pictures WHERE "

func pictures(ctx context.Context, tx *sql.Tx, where string, id int64) ([]Picture, error) {
	var out []Picture
	err := each(ctx, tx, func(rows *sql.Rows) error {
		var p Picture
		if err := rows.Scan(&p.ID, &p.File, &p.SHA256, &p.Kind, &p.Taken, &p.Note); err != nil {
			return err
		}
		out = append(out, p)
		return nil
	}, pictureQuery+where+" ORDER BY taken, id", id)
	return out, err
}

func (h *Harvest) plants(ctx context.Context, tx *sql.Tx, hid int64) error {
	var ids []int64
	err := each(ctx, tx, func(rows *sql.Rows) error {
		var p Plant
		var id int64
		if err := rows.Scan(&id, &p.Number, &p.Planting, &p.Lot, &p.Bed, &p.Season, &p.Control, &p.Habit, &p.Leaf, &p.Disease, &p.Fate,
			&p.Flowered, &p.FirstRipe, &p.FruitCount, &p.RipeCount, &p.WeightG, &p.IsolationM, &p.Pollination, &p.Note); err != nil {
			return err
		}
		h.Plants = append(h.Plants, p)
		ids = append(ids, id)
		return nil
	}, `SELECT p.id, p.number, g.name, coalesce(l.code, gl.code, ''), coalesce(b.name, ''), g.season, p.control, p.habit, p.leaf, p.disease, p.fate,
		coalesce(p.flowered, ''), coalesce(p.first_ripe, ''), p.fruit_count, p.ripe_count, p.weight_g, g.isolation_m, p.pollination, p.note
		FROM harvest_plantings hp JOIN plantings g ON g.id = hp.planting_id JOIN plants p ON p.planting_id = g.id
		LEFT JOIN lots l ON l.id = p.lot_id LEFT JOIN lots gl ON gl.id = g.lot_id LEFT JOIN beds b ON b.id = g.bed_id
		WHERE hp.harvest_id = ? ORDER BY p.id`, hid)
	if err != nil {
		return err
	}
	for i, id := range ids {
		if h.Plants[i].Pictures, err = pictures(ctx, tx, "plant_id = ?", id); err != nil {
			return err
		}
	}
	slips, err := takenBack(ctx, tx, hid)
	if err != nil {
		return err
	}
	k := 0
	for i, p := range h.Plants {
		if p.Planting == h.Name && slips[p.Number] && p.unwritten() {
			var n int
			if err := tx.QueryRowContext(ctx, `SELECT (SELECT count(*) FROM observations WHERE plant_id = ?1) + (SELECT count(*) FROM decisions WHERE plant_id = ?1)
				+ (SELECT count(*) FROM notes WHERE subject = 'plant' AND subject_id = ?1) + (SELECT count(*) FROM lots WHERE mother_id = ?1 OR father_id = ?1)`, ids[i]).Scan(&n); err != nil {
				return err
			}
			if n == 0 {
				continue
			}
		}
		h.Plants[k] = p
		k++
	}
	h.Plants = h.Plants[:k]
	slices.SortStableFunc(h.Plants, func(a, b Plant) int { return record.ComparePlants(a.Number, b.Number) })
	return nil
}

// unwritten reports whether nothing was written down of a plant: it stands in the book because a fruit once bore its number.
func (p *Plant) unwritten() bool {
	return !p.Control && p.Habit+p.Leaf+p.Disease+p.Fate+p.Flowered+p.FirstRipe+p.Note == "" && p.FruitCount == nil && p.RipeCount == nil && p.WeightG == nil &&
		p.Pollination == "unknown" && len(p.Pictures) == 0
}

// takenBack returns the plant numbers that earlier measurements of a harvest gave to fruit and that the newest gives to
// none of them, though it has them all: a number that was a slip, and was taken back. A plant whose fruit are gone is
// not among them: it grew.
func takenBack(ctx context.Context, tx *sql.Tx, hid int64) (map[string]bool, error) {
	run, err := currentRun(ctx, tx, hid)
	if err != nil {
		return nil, err
	}
	out := map[string]bool{}
	err = each(ctx, tx, func(rows *sql.Rows) error {
		var plant string
		var all bool
		if err := rows.Scan(&plant, &all); err != nil {
			return err
		}
		out[plant] = all
		return nil
	}, `SELECT m.plant, min(EXISTS (SELECT 1 FROM measurements n JOIN photos q ON q.id = n.photo_id WHERE q.run_id = ?1 AND n.fruit_id = m.fruit_id))
		FROM runs r JOIN photos p ON p.run_id = r.id JOIN measurements m ON m.photo_id = p.id
		WHERE r.harvest_id = ?2 AND r.finished IS NOT NULL AND r.id <> ?1 AND m.plant <> ''
		AND m.plant NOT IN (SELECT n.plant FROM measurements n JOIN photos q ON q.id = n.photo_id WHERE q.run_id = ?1) GROUP BY m.plant`, run, hid)
	return out, err
}

func (h *Harvest) lots(ctx context.Context, tx *sql.Tx, hid int64) error {
	var ids []int64
	var own []bool
	err := each(ctx, tx, func(rows *sql.Rows) error {
		var id int64
		var mine bool
		if err := rows.Scan(&id, &mine); err != nil {
			return err
		}
		ids, own = append(ids, id), append(own, mine)
		return nil
	}, `SELECT id, id = coalesce((SELECT lot_id FROM harvests WHERE id = ?1), 0) AS own FROM lots WHERE id IN (
		SELECT lot_id FROM harvests WHERE id = ?1
		UNION SELECT g.lot_id FROM harvest_plantings hp JOIN plantings g ON g.id = hp.planting_id WHERE hp.harvest_id = ?1
		UNION SELECT p.lot_id FROM harvest_plantings hp JOIN plants p ON p.planting_id = hp.planting_id WHERE hp.harvest_id = ?1)
		ORDER BY own DESC, code`, hid)
	if err != nil {
		return err
	}
	for i, id := range ids {
		l, err := readLot(ctx, tx, id)
		if err != nil {
			return err
		}
		h.Lots = append(h.Lots, l)
		if own[i] {
			h.Lot = &l
		}
	}
	return nil
}

// Name is how the lot is called in print: the supplier's number, or our own code.
func (l *Lot) Name() string {
	if l.SupplierLot != "" {
		return l.SupplierLot
	}
	return l.Code
}

// Lots reads all seed lots by code.
func (b *Book) Lots(ctx context.Context) ([]Lot, error) {
	var out []Lot
	err := b.read(ctx, func(tx *sql.Tx) error {
		var ids []int64
		if err := each(ctx, tx, func(rows *sql.Rows) error {
			var id int64
			if err := rows.Scan(&id); err != nil {
				return err
			}
			ids = append(ids, id)
			return nil
		}, "SELECT id FROM lots ORDER BY code"); err != nil {
			return err
		}
		for _, id := range ids {
			l, err := readLot(ctx, tx, id)
			if err != nil {
				return err
			}
			out = append(out, l)
		}
		return nil
	})
	return out, err
}

func readLot(ctx context.Context, tx *sql.Tx, id int64) (Lot, error) {
	var l Lot
	plantName := func(alias string) string {
		return "coalesce((SELECT g.name || '/' || p.number FROM plants p JOIN plantings g ON g.id = p.planting_id WHERE p.id = l." + alias + "), '')"
	}
	err := tx.QueryRowContext(ctx, `SELECT l.code, coalesce(v.name, ''), coalesce(v.species, ''), coalesce(v.protected, 'unknown'), l.supplier, l.supplier_lot,
		coalesce(l.bought, ''), l.packet, coalesce(l.sown, ''), l.seeds_sown, l.seeds_germinated, l.origin, l.kind, l.generation, l.pollination, `+
		plantName("mother_id")+`, `+plantName("father_id")+`, l.isolation_m, l.seed_left, l.note
		FROM lots l LEFT JOIN varieties v ON v.id = l.variety_id WHERE l.id = ?`, id).Scan(
		&l.Code, &l.Variety, &l.Species, &l.Protected, &l.Supplier, &l.SupplierLot, &l.Bought, &l.Packet, &l.Sown, &l.SeedsSown, &l.SeedsGerminated,
		&l.Origin, &l.Kind, &l.Generation, &l.Pollination, &l.Mother, &l.Father, &l.IsolationM, &l.SeedLeft, &l.Note)
	if err != nil {
		return l, err
	}
	l.Pictures, err = pictures(ctx, tx, "lot_id = ?", id)
	return l, err
}

// nowQuery gives, for each fruit, photo and number in the newest measurement; what is lost keeps
// its first number and an empty photo.
const nowQuery = `LEFT JOIN fruits f ON f.id = o.fruit_id
	LEFT JOIN measurements m ON m.id = (SELECT y.id FROM measurements y JOIN photos q ON q.id = y.photo_id
		WHERE y.fruit_id = o.fruit_id AND q.run_id = (SELECT id FROM runs x WHERE x.harvest_id = o.harvest_id AND x.finished IS NOT NULL ORDER BY x.revision DESC LIMIT 1))
	LEFT JOIN photos ph ON ph.id = m.photo_id LEFT JOIN plants p ON p.id = o.plant_id`

func (h *Harvest) observations(ctx context.Context, tx *sql.Tx, hid int64) error {
	return each(ctx, tx, func(rows *sql.Rows) error {
		var o Observation
		var entered string
		if err := rows.Scan(&o.ID, &o.Photo, &o.Fruit, &o.Plant, &o.Group, &o.Trait, &o.Value, &o.Words, &o.Unit, &o.Entered, &o.Date, &o.By, &o.Note, &o.Lost, &entered); err != nil {
			return err
		}
		o.Day = cmp.Or(o.Date, localDay(entered))
		h.Observations = append(h.Observations, o)
		return nil
	}, `SELECT o.id, coalesce(ph.name, ''), coalesce(m.number, f.number, 0), coalesce(p.number, ''), coalesce(o.grp, 0), o.trait, o.value, o.words, o.unit,
		o.entered_as, coalesce(o.observed, ''), o.observer, o.note, o.lost, o.entered FROM observations o `+nowQuery+` WHERE o.harvest_id = ? ORDER BY o.id`, hid)
}

func (h *Harvest) decisions(ctx context.Context, tx *sql.Tx, hid int64) error {
	return each(ctx, tx, func(rows *sql.Rows) error {
		var d Decision
		if err := rows.Scan(&d.ID, &d.Photo, &d.Fruit, &d.Plant, &d.Kind, &d.Value, &d.Reason, &d.Made, &d.By, &d.Lost); err != nil {
			return err
		}
		h.Decisions = append(h.Decisions, d)
		return nil
	}, `SELECT o.id, coalesce(ph.name, ''), coalesce(m.number, f.number, 0), coalesce(p.number, ''), o.kind, o.value, o.reason, o.made, o.made_by, o.lost
		FROM decisions o `+nowQuery+` WHERE o.harvest_id = ? ORDER BY o.id`, hid)
}

func (h *Harvest) notes(ctx context.Context, tx *sql.Tx, hid int64) error {
	return each(ctx, tx, func(rows *sql.Rows) error {
		var s string
		if err := rows.Scan(&s); err != nil {
			return err
		}
		h.Notes = append(h.Notes, s)
		return nil
	}, "SELECT text FROM notes WHERE subject = 'harvest' AND subject_id = ? ORDER BY id", hid)
}

// PlantNamed returns the plant with the number, nil when the book does not hold it.
func (h *Harvest) PlantNamed(number string) *Plant {
	for i := range h.Plants {
		if h.Plants[i].Number == number {
			return &h.Plants[i]
		}
	}
	return nil
}

// Variety names the varieties of the harvest's lots.
func (h *Harvest) Variety() string {
	var out []string
	for _, l := range h.Lots {
		if l.Variety != "" && !slices.Contains(out, l.Variety) {
			out = append(out, l.Variety)
		}
	}
	return strings.Join(out, ", ")
}
