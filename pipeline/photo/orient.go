package photo

// orient turns RGB pixels upright by the Exif orientation (TIFF 6.0, tag 274): what the stored
// row 0 and column 0 are in the picture as seen.
//
//	1 top, left    2 top, right    3 bottom, right    4 bottom, left
//	5 left, top    6 right, top    7 right, bottom    8 left, bottom
//
// 1 and any other number return pix itself.
func orient(pix []uint8, w, h, orientation int) (out []uint8, ow, oh int) {
	if orientation < 2 || orientation > 8 {
		return pix, w, h
	}
	ow, oh = w, h
	if orientation >= 5 {
		ow, oh = h, w
	}
	// The source pixel of the output pixel (x, y) is start + x·dx + y·dy.
	var start, dx, dy int
	switch orientation {
	case 2:
		start, dx, dy = w-1, -1, w
	case 3:
		start, dx, dy = h*w-1, -1, -w
	case 4:
		start, dx, dy = (h-1)*w, 1, -w
	case 5:
		start, dx, dy = 0, w, 1
	case 6:
		start, dx, dy = (h-1)*w, -w, 1
	case 7:
		start, dx, dy = h*w-1, -w, -1
	case 8:
		start, dx, dy = w-1, w, -1
	}
	out = make([]uint8, len(pix))
	const tile = 64 // a tile of source and result fits the processor's cache when rows become columns
	for y0 := 0; y0 < oh; y0 += tile {
		for x0 := 0; x0 < ow; x0 += tile {
			for y := y0; y < min(y0+tile, oh); y++ {
				to := 3 * (y*ow + x0)
				from := 3 * (start + x0*dx + y*dy)
				for range min(tile, ow-x0) {
					out[to], out[to+1], out[to+2] = pix[from], pix[from+1], pix[from+2]
					to += 3
					from += 3 * dx
				}
			}
		}
	}
	return out, ow, oh
}
