package colour

// Words returns a plain name of a skin colour, such as "dark green", "tan" or "grey-green".
//
// The rule is this program's own: lightness L*, chroma C*ab and hue angle h_ab (D65) are cut at fixed limits, listed in
// docs/colour.md. It is no standard's and no chart's name, and two colours of one name may differ clearly: compare the
// numbers, not the words.
func Words(l Lab) string {
	c, h := l.Chroma(), l.HueDeg()
	if c < 9 {
		return neutralWords(l, c, h)
	}
	hue := hueWord(l, c, h)
	switch hue {
	case "tan", "cream", "brown", "salmon", "buff", "pale yellow", "dark brown":
		return hue
	}
	greyish := c < 18 && l.L > 35
	switch {
	case l.L < 22:
		return "blackish " + hue
	case greyish && l.L >= 75:
		return "pale grey-" + hue
	case greyish:
		return "grey-" + hue
	case l.L < 42:
		return "dark " + hue
	case l.L >= 82:
		return "light " + hue
	}
	return hue
}

// neutralWords names colours of little chroma.
func neutralWords(l Lab, c, h float64) string {
	base := "grey"
	switch {
	case l.L >= 90:
		return "white"
	case l.L < 18:
		return "black"
	case l.L < 40:
		base = "dark grey"
	case l.L >= 75:
		base = "pale grey"
	}
	if c >= 4 && h > 100 && h < 200 && l.L < 90 {
		switch base {
		case "grey":
			return "grey-green"
		case "dark grey":
			return "dark grey-green"
		}
		return "pale grey-green"
	}
	return base
}

// hueWord names the hue; the browns are oranges and yellows of low chroma or lightness.
func hueWord(l Lab, c, h float64) string {
	switch {
	case h < 15 || h >= 345:
		if l.L > 60 {
			return "pink"
		}
		return "red"
	case h < 42:
		if l.L > 55 && c < 45 {
			return "salmon"
		}
		if l.L < 30 && c < 30 {
			return "dark brown"
		}
		return "red"
	case h < 82:
		return warmWord(l, c, h)
	case h < 100:
		switch {
		case l.L > 80 && c < 34:
			return "cream"
		case l.L > 80 && c < 50:
			return "pale yellow"
		case c > 44 && l.L > 60:
			return "yellow"
		case l.L < 50:
			return "olive"
		}
		return "buff"
	case h < 115:
		if l.L > 80 && c < 34 {
			return "cream"
		}
		if l.L > 60 {
			return "yellow-green"
		}
		return "olive green"
	case h < 190:
		return "green"
	case h < 225:
		return "blue-green"
	case h < 290:
		return "blue"
	}
	return "purple"
}

// warmWord names hues from 42° to 82°.
func warmWord(l Lab, c, h float64) string {
	switch {
	case l.L < 28:
		return "dark brown"
	case l.L < 50 && c < 45:
		return "brown"
	case c > 48:
		if h > 74 && l.L > 65 {
			return "orange-yellow"
		}
		return "orange"
	case l.L > 82 && c < 28:
		return "cream"
	}
	return "tan"
}
