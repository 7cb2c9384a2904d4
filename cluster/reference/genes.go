package reference

import "strings"

// GeneHints names dominant genes that fit how fruit of an off-type group differ from the description: a cross
// with a carrier shows such a mark in all its offspring. Hints only: other genes, or another variety, can do the same.
//
// Source: reports of the Cucurbit Genetics Cooperative (gene Gr, moschata; genes D and the l-1 series,
// pepo; gene list of 2014), read in extracts.
func GeneHints(d *Description, fs []Fruit) []string {
	species := strings.ToLower(d.Species)
	skin, n, striped, told := [3]float64{}, 0.0, 0, 0
	for _, f := range fs {
		if f.Skin != nil {
			n++
			for i := range skin {
				skin[i] += f.Skin[i]
			}
		}
		if f.Pattern != "" {
			told++
			if f.Pattern == "stripes" {
				striped++
			}
		}
	}
	var out []string
	if d.Skin != nil && n > 0 {
		for i := range skin {
			skin[i] /= n
		}
		greener := d.Skin.Lab[1] > 0 && skin[1] < -4
		if strings.Contains(species, "moschata") && greener {
			out = append(out, "A green skin is dominant over buff in Cucurbita moschata (gene Gr, Cucurbit Genetics Cooperative): fits a cross with a green-skinned variety. A hint only.")
		}
		if strings.Contains(species, "pepo") && skin[0] < d.Skin.Lab[0]-15 && skin[1] < 0 {
			out = append(out, "A dark skin is dominant over a light one in Cucurbita pepo (genes D and L-1, Cucurbit Genetics Cooperative): fits a cross with a dark variety. A hint only.")
		}
	}
	plain := len(d.Pattern) == 1 && d.Pattern[0] == "none"
	if strings.Contains(species, "pepo") && plain && told > 0 && 2*striped > told && d.Skin != nil && d.Skin.Lab[0] > 60 {
		out = append(out, "Stripes are dominant over a plain light skin in Cucurbita pepo (l-1 series, Cucurbit Genetics Cooperative): fits a cross with a striped variety. A hint only.")
	}
	return out
}
