package body_test

import (
	"fmt"
	"math"

	"offtype/measure/body"
	"offtype/measure/camera"
	"offtype/measure/geom"
)

// A ball of 150 mm right below a phone 1.5 m up looks 5.4 % too large on the table (1/√(1 − 150/1500));
// its body is 150 mm wide.
func ExampleFit() {
	cam := camera.Camera{Width: 4000, Height: 3000, Focal: 3000, CX: 1999.5, CY: 1499.5,
		R: [3][3]float64{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}, T: geom.Vec3{Z: 1500}}
	var outline []geom.Px
	for i := 0; i < 360; i++ {
		s, c := math.Sincos(float64(i) * math.Pi / 180)
		r := 75 / math.Sqrt(1-150.0/1500)
		outline = append(outline, cam.Project(geom.Vec3{X: r * c, Y: r * s}))
	}
	b, err := body.Fit([]body.View{{Camera: cam, Outline: outline}}, body.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.0f mm wide\n", b.Width.V)
	// Output: 150 mm wide
}
