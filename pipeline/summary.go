package pipeline

import (
	"fmt"
	"path/filepath"
	"strings"

	"offtype/pipeline/judge"
	"offtype/pipeline/record"
)

// Summary is the short result for the terminal and --json.
type Summary struct {
	Photos    int            `json:"photos"`
	Failed    int            `json:"failed"`
	Duplicate int            `json:"duplicate"`
	Kept      int            `json:"kept"` // measured by an earlier run
	Fruits    int            `json:"fruits"`
	Unsure    int            `json:"unsure"` // outlines to be looked at
	Groups    []SummaryGroup `json:"groups"`
	Lot       record.Lot     `json:"lot"`
	Variety   string         `json:"variety,omitempty"`
	Version   string         `json:"variety_version,omitempty"`
	Out       string         `json:"out"`
	Report    string         `json:"report"`
	Seconds   float64        `json:"seconds"`
	Stopped   bool           `json:"stopped"`
	Caution   string         `json:"caution,omitempty"`  // what could hurt somebody
	Headline  string         `json:"headline,omitempty"` // which plants or fruit are off-type

	one, many string // what was measured: fruit, roots or bulbs
}

// SummaryGroup is one group of the summary.
type SummaryGroup struct {
	Group     int            `json:"group"`
	Fruits    int            `json:"fruits"`
	NotJudged int            `json:"not_judged,omitempty"` // fruit that the verdict does not rest on
	Plants    []string       `json:"plants"`
	Verdict   record.Verdict `json:"verdict,omitempty"`
	Reasons   []string       `json:"reasons,omitempty"`
}

// Summary returns the short result.
func (r *Result) Summary() Summary {
	s := Summary{Failed: r.Failed, Kept: r.Kept, Fruits: len(r.Run.Fruits), Lot: r.Run.Judgement.Lot, Out: r.Out, Report: r.Report, Seconds: r.Took.Seconds(), Stopped: r.Stopped, one: "fruit", many: "fruit"}
	for _, p := range r.Run.Photos {
		s.Photos++
		if p.Status == record.StatusDuplicate {
			s.Duplicate++
		}
	}
	for i := range r.Run.Fruits {
		if r.Run.Fruits[i].Unsure {
			s.Unsure++
		}
	}
	s.Caution, s.Headline = judge.Danger(r.Run), r.Run.Headline()
	if v := r.Run.Judgement.Variety; v != nil {
		s.Variety, s.Version = v.Name, v.Version
		s.one, s.many = record.Items(v.Species)
	}
	for _, g := range r.Run.Judgement.Groups {
		sg := SummaryGroup{Group: g.Group, Fruits: g.Fruits, NotJudged: r.Run.Judgement.NotJudged(g.Group), Plants: append([]string{}, r.Run.PlantsOf(g.Group)...), Verdict: g.Verdict, Reasons: g.Why()}
		s.Groups = append(s.Groups, sg)
	}
	return s
}

// Text is the summary in words.
func (s Summary) Text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "\n%s", record.Count(s.Fruits, s.one, s.many))
	if s.Photos > 0 {
		fmt.Fprintf(&b, " on %s", record.Count(s.Photos-s.Failed-s.Duplicate, "photo", "photos"))
	} else if s.Fruits > 0 {
		b.WriteString(" from a table")
	}
	if len(s.Groups) > 0 {
		fmt.Fprintf(&b, ", %s", record.Count(len(s.Groups), "group", "groups"))
	}
	b.WriteString(".\n")
	if s.Failed > 0 {
		fmt.Fprintf(&b, "%s failed.\n", record.Count(s.Failed, "photo", "photos"))
	}
	if s.Duplicate > 0 {
		fmt.Fprintf(&b, "%s left out: the same photo stands under another name too.\n", record.Count(s.Duplicate, "copy was", "copies were"))
	}
	if s.Unsure > 0 {
		fmt.Fprintf(&b, "%s: look at them in the report.\n", record.Count(s.Unsure, "outline is not sure", "outlines are not sure"))
	}
	if s.Variety != "" {
		fmt.Fprintf(&b, "Compared with %s, description version %s.\n", s.Variety, s.Version)
	}
	if s.Headline != "" {
		fmt.Fprintf(&b, "\n%s\n", s.Headline)
	}
	for _, g := range s.Groups {
		fmt.Fprintf(&b, "\nGroup %d: %s", g.Group, record.ItemsJudged(g.Fruits, g.NotJudged, s.one, s.many))
		if g.NotJudged > 0 && len(g.Plants) > 0 {
			b.WriteString(",")
		}
		switch len(g.Plants) {
		case 0:
		case 1:
			fmt.Fprintf(&b, " of plant %s", g.Plants[0])
		default:
			fmt.Fprintf(&b, " of plants %s", strings.Join(g.Plants, ", "))
		}
		if g.Verdict != "" && g.Verdict != record.NotJudged {
			fmt.Fprintf(&b, " – %s", g.Verdict)
		}
		b.WriteString("\n")
		for _, r := range g.Reasons[:min(4, len(g.Reasons))] {
			fmt.Fprintf(&b, "  %s\n", r)
		}
	}
	if len(s.Lot.Sentences) > 0 && s.Fruits > 0 {
		b.WriteString("\nSeed lot\n")
		for _, l := range s.Lot.Sentences {
			fmt.Fprintf(&b, "  %s\n", l)
		}
	}
	if s.Caution != "" {
		fmt.Fprintf(&b, "\nCaution: %s\n", s.Caution)
	}
	fmt.Fprintf(&b, "\nTables: %s\n", filepath.Clean(s.Out))
	if s.Report != "" {
		fmt.Fprintf(&b, "Report: %s\n", s.Report)
		if s.Fruits > 0 {
			b.WriteString("Open it in a browser: pictures, reasons, and what to do next.\n")
		}
	}
	return b.String()
}
