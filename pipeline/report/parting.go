package report

import (
	"fmt"
	"slices"
	"sort"
	"strings"

	"offtype/cluster/lot"
	"offtype/pipeline/record"
)

// lot gives the statistics of the seed lot, the rule and the other explanations.
func (b *docBuilder) lot() []block {
	l := &b.run.Judgement.Lot
	bs := []block{heading{b.t.LotPart, 1, "lot"}}
	if len(l.Sentences) > 0 {
		bs = append(bs, list{items: l.Sentences})
	}
	if b.judged() && l.HasRange() {
		rows := [][2]string{
			{b.t.PlantsSeen, fmt.Sprint(l.Seen)}, {b.t.OffPlants, b.offPlants(l)}, {b.t.UnsurePlants, fmt.Sprint(l.Unsure)},
			{b.t.RateHere, b.rateHere(l)}, {b.t.RateLot, fmt.Sprintf(b.t.RateInterval, lot.Percent(*l.Low), lot.Percent(*l.High), lot.Percent(l.Confidence))},
		}
		if r := l.Rule; r != nil {
			within := b.t.RuleOutside
			switch {
			case r.Within:
				within = b.t.RuleWithin
			case l.Off <= r.Allowed: // outside it only if what could not be decided is off-type
				within = b.t.RuleOpen
			}
			rows = append(rows, [2]string{b.t.Rule, fmt.Sprintf(b.t.RuleText, lot.Given(r.Standard), lot.Given(r.Acceptance), record.Count(r.Allowed, b.t.OneOff, b.t.ManyOff), record.Count(l.Seen, b.t.OnePlant, b.t.ManyPlants), within)})
		}
		bs = append(bs, facts{rows})
	}
	rule := b.t.RuleIs
	if r := l.Rule; r != nil && (lot.Standard{Off: r.Standard, Acceptance: r.Acceptance}) != lot.CommonStandard {
		own := fmt.Sprintf(b.t.RuleOwn, lot.Given(r.Standard), lot.Given(r.Acceptance))
		rule = append([]string{own}, rule...)
	}
	bs = append(bs, frame{title: b.t.RuleTitle, paras: rule})
	bs = append(bs, heading{text: b.t.OtherPart, level: 2}, para{b.t.OtherIntro, plain}, list{items: b.t.Others})
	return append(bs, para{b.controlsText(), plain})
}

func (b *docBuilder) controlsText() string {
	all, used := b.doc.Entered.Controls, b.run.Judgement.Controls()
	late := slices.DeleteFunc(slices.Clone(all), func(p string) bool { return slices.Contains(used, p) })
	if !b.judged() { // nothing was compared with anything
		used, late = all, nil
	}
	var said []string
	if len(used) > 0 {
		said = append(said, fmt.Sprintf(b.t.ControlsWere, b.plantNames(used)))
	}
	if len(late) > 0 {
		said = append(said, fmt.Sprintf(b.t.ControlsLate, b.plantNames(late)))
	}
	return or(strings.Join(said, " "), b.t.NoControls)
}

// advice says what to do, what to keep, and what to be careful with.
func (b *docBuilder) advice() []block {
	bs := []block{heading{b.t.AdvicePart, 1, "advice"}, list{items: b.t.Advice}, heading{text: b.t.KeepPart, level: 2}, para{b.t.KeepIntro, plain}, list{items: b.t.Keep, boxes: true}}
	if len(b.doc.Cautions) > 0 {
		bs = append(bs, heading{text: b.t.Cautions, level: 2}, list{items: b.doc.Cautions})
	}
	if n := b.doc.Entered.Notes; len(n) > 0 || b.doc.Entered.Note != "" {
		items := n
		if b.doc.Entered.Note != "" {
			items = append([]string{b.doc.Entered.Note}, n...)
		}
		bs = append(bs, heading{text: b.t.HarvestNotes, level: 2}, list{items: items})
	}
	return bs
}

// method says how it was measured and gives what is needed to check the evidence.
func (b *docBuilder) method() []block {
	bs := []block{heading{b.t.MethodPart, 1, "method"}}
	for _, s := range methodText(b.run, b.t.Page) {
		bs = append(bs, para{s, plain})
	}
	if b.anyScaled() {
		bs = append(bs, para{b.t.Drawn, plain})
	}
	bs = append(bs, heading{text: b.t.Page.Limits, level: 2}, list{items: b.t.Page.LimitText})
	rows := [][2]string{{b.t.Program, or(b.run.Program, "–")}}
	keys := make([]string, 0, len(b.run.Settings))
	for k := range b.run.Settings {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	for _, k := range keys {
		rows = append(rows, [2]string{k, b.run.Settings[k]})
	}
	if v := b.run.Judgement.Variety; v != nil {
		rows = append(rows, [2]string{b.t.DescriptionVersion, join(v.Name, v.Version)})
		if b.desc != nil && b.desc.Source != "" {
			rows = append(rows, [2]string{b.t.DescriptionSource, b.desc.Source})
		}
	}
	bs = append(bs, heading{text: b.t.VersionPart, level: 2}, facts{rows})
	if len(b.run.Photos) == 0 {
		return append(bs, para{b.t.NoPhotos, plain})
	}
	t := table{head: b.t.PhotoHead, widths: []float64{38, 18, 11, 14, 12, 15, 18, 16, 17}}
	s := table{head: b.t.HashHead, widths: []float64{44, 112}}
	for _, p := range b.run.Photos {
		s.rows = append(s.rows, texted(p.Name, or(p.SHA256, "–")))
		if p.Status != record.StatusOK {
			t.rows = append(t.rows, texted(p.Name, or(b.t.States[p.Status], string(p.Status)), "–", "–", "–", "–", "–", "–", "–"))
			continue
		}
		var cards []string
		for _, c := range p.Cards {
			cards = append(cards, fmt.Sprint(c))
		}
		t.rows = append(t.rows, texted(p.Name, or(b.t.States[p.Status], string(p.Status)), or(strings.Join(cards, ", "), "–"), byCard(&p, p.MMPerPx, 4, ""), byCard(&p, p.TiltDeg, 1, "°"),
			byCard(&p, p.HeightMM, 0, ""), record.Fixed(p.FocalPx, 0)+tagged(",", p.FocalFrom), byCard(&p, p.CardResidual, 3, ""), byCard(&p, p.ColourDE00, 2, "")))
	}
	return append(bs, heading{text: b.t.CardTable, level: 2}, para{b.t.CardIntro, small}, t, heading{text: b.t.HashPart, level: 2}, para{b.t.HashIntro, small}, s)
}
