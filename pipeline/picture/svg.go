package picture

import (
	"fmt"
	"strings"

	"offtype/measure/geom"
)

// SVGPath draws points of a photo as the path of an SVG, to a tenth of a px; empty without points. SVG counts from the
// corner of the first pixel, photo px from its centre.
func SVGPath(pts []geom.Px, closed bool) string {
	var b strings.Builder
	for i, p := range pts {
		c := 'L'
		if i == 0 {
			c = 'M'
		}
		fmt.Fprintf(&b, "%c%.1f %.1f", c, p.X+.5, p.Y+.5)
	}
	if closed && len(pts) > 0 {
		b.WriteByte('Z')
	}
	return b.String()
}
