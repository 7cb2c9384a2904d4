package report

import (
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/bidi"
)

// clean makes text fit for the PDF: control characters become spaces, and characters that the
// embedded font cannot hold (beyond the basic plane, such as pictographs) a white square.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\u00a0' || r == '\u202f':
			return ' '
		case unicode.IsControl(r) || r == unicode.ReplacementChar:
			return ' '
		case unicode.Is(unicode.Cf, r):
			return -1 // direction marks and joiners have no shape of their own
		case r > 0xffff:
			return '□'
		}
		return r
	}, s)
}

func rightToLeft(s string) bool {
	for _, r := range s {
		if r >= 0x590 && r <= 0x8ff || r >= 0xfb1d && r <= 0xfdff || r >= 0xfe70 && r <= 0xfefc {
			return true
		}
	}
	return false
}

// visual returns a line in the order in which it is drawn from left to right, and Arabic letters in
// the form of their place in the word. The base direction is that of the first strong letter.
//
// It is the Unicode bidirectional algorithm (UAX 9) for one line without embedding marks, which clean
// has taken out: rules W1–W7, N1–N2, L2 and L4.
func visual(s string) string {
	s = clean(s)
	if !rightToLeft(s) {
		return s
	}
	cs := clusters(joinArabic(s))
	class, base := classes(cs)
	level := make([]int, len(cs))
	top := base
	for i, c := range class {
		switch {
		case c == bidi.R:
			level[i] = 1
		case c == bidi.EN || c == bidi.AN || base == 1:
			level[i] = 2
		}
		top = max(top, level[i])
	}
	for l := top; l > 0; l-- { // L2: turn every run of level l or higher
		for i := 0; i < len(cs); i++ {
			j := i
			for j < len(cs) && level[j] >= l {
				j++
			}
			slices.Reverse(cs[i:j])
			slices.Reverse(level[i:j])
			i = max(i, j-1)
		}
	}
	var b strings.Builder
	for i, c := range cs {
		if m, ok := mirrored[c]; ok && level[i]%2 == 1 {
			c = m
		}
		b.WriteString(c)
	}
	return b.String()
}

var mirrored = map[string]string{"(": ")", ")": "(", "[": "]", "]": "[", "{": "}", "}": "{", "<": ">", ">": "<", "«": "»", "»": "«", "‹": "›", "›": "‹"}

// clusters cuts s into letters with the marks on them, which are never parted.
func clusters(s string) []string {
	var out []string
	for _, r := range s {
		if p, _ := bidi.LookupRune(r); p.Class() == bidi.NSM && len(out) > 0 {
			out[len(out)-1] += string(r)
			continue
		}
		out = append(out, string(r))
	}
	return out
}

// classes resolves each cluster to L, R, EN or AN, and finds the base level (0 or 1).
func classes(cs []string) (class []bidi.Class, base int) {
	class = make([]bidi.Class, len(cs))
	strong := bidi.ON
	for i, c := range cs {
		p, _ := bidi.LookupString(c)
		class[i] = p.Class()
		if strong == bidi.ON && (class[i] == bidi.L || class[i] == bidi.R || class[i] == bidi.AL) {
			strong = class[i]
		}
	}
	own := bidi.L
	if strong == bidi.R || strong == bidi.AL {
		base, own = 1, bidi.R
	}
	numbersIn(class, own)
	bracketsIn(cs, class, own)
	for i := 0; i < len(class); i++ { // N1, N2: what stands between takes the direction of both sides, or the base's
		j := i
		for j < len(class) && neutral(class[j]) {
			j++
		}
		if j == i {
			continue
		}
		before, after := own, own
		if i > 0 {
			before = side(class[i-1])
		}
		if j < len(class) {
			after = side(class[j])
		}
		if before != after {
			before = own
		}
		for k := i; k < j; k++ {
			class[k] = before
		}
		i = j - 1
	}
	return class, base
}

// numbersIn applies W2–W7: digits and the signs beside them.
func numbersIn(class []bidi.Class, own bidi.Class) {
	last := own
	for i, c := range class { // W2, W3
		switch c {
		case bidi.L, bidi.R, bidi.AL:
			last = c
		case bidi.EN:
			if last == bidi.AL {
				class[i] = bidi.AN
			}
		}
	}
	for i, c := range class {
		if c == bidi.AL {
			class[i] = bidi.R
		}
	}
	for i := 1; i+1 < len(class); i++ { // W4: one sign between two numbers
		if a := class[i-1]; a == class[i+1] && (class[i] == bidi.ES && a == bidi.EN || class[i] == bidi.CS && (a == bidi.EN || a == bidi.AN)) {
			class[i] = a
		}
	}
	for i := range class { // W5: % and the like beside a number
		if class[i] != bidi.ET {
			continue
		}
		j := i
		for j < len(class) && class[j] == bidi.ET {
			j++
		}
		if i > 0 && class[i-1] == bidi.EN || j < len(class) && class[j] == bidi.EN {
			class[i] = bidi.EN
		}
	}
	last = own
	for i, c := range class { // W7
		switch {
		case c == bidi.L || c == bidi.R:
			last = c
		case c == bidi.EN && last == bidi.L:
			class[i] = bidi.L
		}
	}
}

// bracketsIn applies N0: both brackets of a pair take one direction.
func bracketsIn(cs []string, class []bidi.Class, own bidi.Class) {
	const open, closed = "([{", ")]}"
	type opened struct {
		at   int
		kind int
	}
	var stack []opened
	var pairs [][2]int
	for i, c := range cs {
		if class[i] != bidi.ON {
			continue
		}
		if k := strings.Index(open, c); k >= 0 && len(c) == 1 {
			stack = append(stack, opened{i, k})
		} else if k := strings.Index(closed, c); k >= 0 && len(c) == 1 {
			for n := len(stack) - 1; n >= 0; n-- {
				if stack[n].kind == k {
					pairs = append(pairs, [2]int{stack[n].at, i})
					stack = stack[:n]
					break
				}
			}
		}
	}
	slices.SortFunc(pairs, func(a, b [2]int) int { return a[0] - b[0] })
	for _, p := range pairs {
		same, other := false, false
		for _, c := range class[p[0]+1 : p[1]] {
			if !neutral(c) {
				same, other = same || side(c) == own, other || side(c) != own
			}
		}
		if !same && !other {
			continue
		}
		d := own
		if !same {
			before := own
			for i := p[0] - 1; i >= 0; i-- {
				if !neutral(class[i]) {
					before = side(class[i])
					break
				}
			}
			d = before
		}
		class[p[0]], class[p[1]] = d, d
	}
}

func neutral(c bidi.Class) bool {
	return c != bidi.L && c != bidi.R && c != bidi.EN && c != bidi.AN
}

// side is the direction that a class lends to its neighbours.
func side(c bidi.Class) bidi.Class {
	if c == bidi.L {
		return bidi.L
	}
	return bidi.R
}

// arabicForms gives for a letter its isolated form in Unicode's Arabic Presentation Forms-B; final,
// initial and medial follow it. Letters with two forms do not join to the next one.
var arabicForms = map[rune]struct {
	first rune
	forms int
}{
	0x621: {0xfe80, 1}, 0x622: {0xfe81, 2}, 0x623: {0xfe83, 2}, 0x624: {0xfe85, 2}, 0x625: {0xfe87, 2}, 0x626: {0xfe89, 4},
	0x627: {0xfe8d, 2}, 0x628: {0xfe8f, 4}, 0x629: {0xfe93, 2}, 0x62a: {0xfe95, 4}, 0x62b: {0xfe99, 4}, 0x62c: {0xfe9d, 4},
	0x62d: {0xfea1, 4}, 0x62e: {0xfea5, 4}, 0x62f: {0xfea9, 2}, 0x630: {0xfeab, 2}, 0x631: {0xfead, 2}, 0x632: {0xfeaf, 2},
	0x633: {0xfeb1, 4}, 0x634: {0xfeb5, 4}, 0x635: {0xfeb9, 4}, 0x636: {0xfebd, 4}, 0x637: {0xfec1, 4}, 0x638: {0xfec5, 4},
	0x639: {0xfec9, 4}, 0x63a: {0xfecd, 4}, 0x641: {0xfed1, 4}, 0x642: {0xfed5, 4}, 0x643: {0xfed9, 4}, 0x644: {0xfedd, 4},
	0x645: {0xfee1, 4}, 0x646: {0xfee5, 4}, 0x647: {0xfee9, 4}, 0x648: {0xfeed, 2}, 0x649: {0xfeef, 2}, 0x64a: {0xfef1, 4},
	0x67e: {0xfb56, 4}, 0x686: {0xfb7a, 4}, 0x698: {0xfb8a, 2}, 0x6a9: {0xfb8e, 4}, 0x6af: {0xfb92, 4}, 0x6cc: {0xfbfc, 4},
}

// joinArabic puts the joined forms in place of the letters.
func joinArabic(s string) string {
	rs := []rune(s)
	out := make([]rune, 0, len(rs))
	for i, r := range rs {
		f, ok := arabicForms[r]
		if !ok {
			out = append(out, r)
			continue
		}
		before := joins(rs, i, -1) && f.forms > 1
		after := joins(rs, i, 1) && f.forms == 4
		k := rune(0)
		switch {
		case before && after:
			k = 3
		case after:
			k = 2
		case before:
			k = 1
		}
		out = append(out, f.first+k)
	}
	return string(out)
}

// joins reports whether the letter beside place i (marks skipped) joins to it.
func joins(rs []rune, i, step int) bool {
	for i += step; i >= 0 && i < len(rs); i += step {
		if unicode.Is(unicode.Mn, rs[i]) {
			continue
		}
		f, ok := arabicForms[rs[i]]
		if !ok {
			return false
		}
		return step > 0 && f.forms > 1 || step < 0 && f.forms == 4
	}
	return false
}
