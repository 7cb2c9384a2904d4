package body

import (
	"math"
	"testing"
)

// blunt is a cylinder with flatter tips than most fruit have, its axis at yaw, l mm long.
func blunt(l, yaw float64) *model {
	p := make([]float64, pProfile+knots)
	p[pLen], p[pZ], p[pYaw] = l, 45, yaw
	p[pCap0], p[pCap1] = math.Log(0.06), math.Log(0.06)
	for k := 0; k < knots; k++ {
		x := 2*float64(k-1)/(knots-3) - 1
		p[pProfile+k] = -0.4 * math.Pow(x, 6)
	}
	m := newModel(p, knots, 45, 0)
	z, _ := m.lowest()
	m.p[pZ] -= z
	m.update()
	return m
}

func fitted(t *testing.T, m *model, tilt float64) *Body {
	cam := tilted(1200, tilt)
	p0, out := m.pole(0)
	stem := cam.Project(p0)
	tip := cam.Project(p0.Add(out.Scale(20)))
	b, err := Fit([]View{{Camera: cam, Outline: outline(m, &cam), Stem: &stem, StalkTip: &tip, SigmaPx: 0.3}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// A fruit that points at the camera gets the tips of two like ones that lie across: its length comes nearer to the
// truth and its U falls. One like fruit alone, or two of another shape, change nothing; nor do those that lie across change.
func TestAlike(t *testing.T) {
	across := []*model{blunt(200, 0), blunt(206, math.Pi)}
	away := blunt(203, math.Pi/2)
	const tilt = 0.55
	one := fitted(t, away, tilt)
	alone := one.Length
	Alike([]*Body{one, fitted(t, across[0], tilt)})
	if one.Length != alone {
		t.Errorf("one like fruit changes the length from %v to %v", alone, one.Length)
	}
	other := bulb()
	other.p[pYaw] = 0
	other.update()
	Alike([]*Body{one, fitted(t, other, tilt), fitted(t, other, tilt)})
	if one.Length != alone {
		t.Errorf("two of another shape change the length from %v to %v", alone, one.Length)
	}
	l := []*Body{one, nil, fitted(t, across[0], tilt), fitted(t, across[1], tilt)}
	side := l[2].Length
	Alike(l)
	if a, b := math.Abs(alone.V-203), math.Abs(one.Length.V-203); b > 0.7*a {
		t.Errorf("length off by %.2f mm, before by %.2f", b, a)
	}
	if one.Length.U > 0.9*alone.U {
		t.Errorf("U %.2f mm, before %.2f", one.Length.U, alone.U)
	}
	if l[2].Length != side {
		t.Errorf("the fruit that lies across changes from %v to %v", side, l[2].Length)
	}
	if len(one.Views) != 1 {
		t.Errorf("%d drawings of one view", len(one.Views))
	}
}

// A body that gets the tip of look-alikes has it, its other end stays where it is, and its own end moves as asked.
func TestPutTips(t *testing.T) {
	m := bulb()
	var p tipPrior
	for j := range p.mean[0] {
		p.mean[0][j], p.sd[0][j] = -0.9-0.1*float64(j), 0.1
	}
	if f := p.far(m); f < farTip {
		t.Fatalf("the tip lies %.1f standard deviations off: no test", f)
	}
	w := p.put(m, -0.04)
	if f := p.far(w); f > 1e-9 {
		t.Errorf("the tip lies %.2f standard deviations off", f)
	}
	a, _ := m.pole(1)
	b, _ := w.pole(1)
	if d := b.Sub(a).Norm(); d > 1e-9 {
		t.Errorf("the other end moved by %.3f mm", d)
	}
	a, _ = m.pole(0)
	b, _ = w.pole(0)
	if d, want := b.Sub(a).Norm(), 0.04*m.p[pLen]; math.Abs(d-want) > 1e-6 {
		t.Errorf("the end moved by %.3f mm, want %.3f", d, want)
	}
}
