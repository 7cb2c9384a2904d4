package report

import "testing"

// TestVisual: lines as GNU FriBidi 1.0.8 orders them (fribidi --nopad --nobreak).
func TestVisual(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"plain text 12 mm", "plain text 12 mm"},
		{"הערה: הפירות נאספו ב־12 באוקטובר, plant 3 נפגע מברד", "דרבמ עגפנ plant 3 ,רבוטקואב 12־ב ופסאנ תוריפה :הרעה"},
		{"קיבוץ דוגמה 12 (חלקה ב)", "(ב הקלח) 12 המגוד ץוביק"},
		{"plant 3: שלום עולם 12.5% (טוב)", "plant 3: (בוט) 12.5% םלוע םולש"},
		{"Example Seeds, קיבוץ דוגמה 12, מושב 7", "Example Seeds, 7 בשומ ,12 המגוד ץוביק"},
		{"שלום [abc] 2026-10-04, 3 kg", "2026-10-04, 3 kg [abc] םולש"},
		{"مرحبا 12-5 kg (abc)", "kg (abc) 5-12 \ufe8e\ufe92\ufea3\ufeae\ufee3"},
	} {
		if got := visual(c.in); got != c.want {
			t.Errorf("visual(%q)\n got %q\nwant %q", c.in, got, c.want)
		}
	}
}

func TestClean(t *testing.T) {
	if got := clean("a\tb\u200bc\u202ed\U0001F383\x07"); got != "a bcd□ " {
		t.Errorf("clean gives %q", got)
	}
}

func FuzzVisual(f *testing.F) {
	f.Add("שלום (abc] 12")
	f.Add("مرحبا")
	f.Fuzz(func(t *testing.T, s string) {
		n := 0
		for range clean(s) {
			n++
		}
		m := 0
		for range visual(s) {
			m++
		}
		if n != m {
			t.Errorf("%q: %d letters went in, %d came out", s, n, m)
		}
	})
}
