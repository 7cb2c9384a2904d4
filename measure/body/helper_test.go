package body

import (
	"offtype/measure/camera"
	"offtype/measure/geom"
)

// testCamera looks straight down from 1200 mm.
func testCamera() camera.Camera {
	return camera.Camera{Width: 2400, Height: 1800, Focal: 1823, CX: 1199.5, CY: 899.5,
		R: [3][3]float64{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}, T: geom.Vec3{Z: 1200}}
}
