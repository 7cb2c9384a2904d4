package segment

import "offtype/measure/geom"

// On most tables the network is sure of every cell but those along the outlines, and one look is
// enough. Where it wonders about more (lively straw, bark, a fruit of odd colour), a second network
// that was trained apart looks too, and what both say of the bodies is averaged: where one is blind
// or sees things, the other mostly does not. Large fruit of which the first is sure stand. Stalks and ends stay those of the first, which knows
// them better.
const (
	wonderLow  = 0.05 // body probabilities between these two are doubt
	wonderHigh = 0.95
	wonderMost = 40 // doubtful cells away from any sure fruit that are let pass: scenes with nothing to wonder at have 25 at most
	wonderEdge = 4  // cells about a sure fruit where doubt is its outline
	sureCells  = 60 // least size of a sure fruit
	// lean is the weight of the higher of two body probabilities: where one network is sure of a body and the other of
	// table, a little more than half lets the photo's own colours decide. Of 25 composed real pictures with doubts two
	// more were right at 0.53 than at 0.5, at 0.56 one; on 25 rendered photos nothing changed.
	lean       = 0.53
	firstCells = 300 // size from which the first network's sure fruit stand, whatever the second says
)

// seconder is a Net that has another one for doubtful photos.
type seconder interface{ Second() Net }

// second asks another network about a photo of which the first one's maps, m, leave doubts, and then once more, closer,
// about what is left of them.
func (m *Maps) second(im Image, net Net, keepOut [][]geom.Px, opt Options) error {
	both, ok := net.(seconder)
	if !ok {
		return nil
	}
	m.block(keepOut)
	if m.doubts() <= wonderMost {
		return nil
	}
	s, err := runNet(im, both.Second(), opt.LongSide)
	if err != nil {
		return err
	}
	s.block(keepOut)
	own := m.fromSure(firstCells)
	for i, v := range s.Body {
		if own[i] > wonderEdge {
			m.Body[i] = lean*max(m.Body[i], v) + (1-lean)*min(m.Body[i], v)
		}
	}
	for _, c := range [...][2][]float32{{m.Seam, s.Seam}, {m.Mid, s.Mid}, {m.DX, s.DX}, {m.DY, s.DY}} {
		for i, v := range c[1] {
			if own[i] > wonderEdge {
				c[0][i] = (c[0][i] + v) / 2
			}
		}
	}
	return m.magnify(im, s, both.Second())
}

// doubts counts the cells that are neither surely table nor surely fruit, nor stalk, nor near a sure fruit.
func (m *Maps) doubts() (n int) {
	for i, d := range m.fromSure(sureCells) {
		if p := m.Body[i]; d > wonderEdge && p > wonderLow && p < wonderHigh && m.Stalk[i] < 0.3 {
			n++
		}
	}
	return n
}

// fromSure returns each cell's distance, cells, to the nearest fruit of which the first network is
// sure on at least so many cells.
func (m *Maps) fromSure(least int) []float32 {
	g := &regions{w: m.W, h: m.H}
	seen, away := make([]bool, len(m.Body)), make([]bool, len(m.Body))
	for i := range away {
		away[i] = true
	}
	var part []int
	for s, p := range m.Body {
		if p <= 0.9 || seen[s] {
			continue
		}
		part = g.gather(part, s, func(j int) bool { return m.Body[j] > 0.9 && !seen[j] }, func(j int) { seen[j] = true })
		if len(part) >= least {
			for _, i := range part {
				away[i] = false
			}
		}
	}
	return distances(away, m.W, m.H)
}
