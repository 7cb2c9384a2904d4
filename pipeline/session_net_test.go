package pipeline

import (
	"bytes"
	"image"
	"image/jpeg"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"offtype/pipeline/record"
	"offtype/pipeline/segment"
)

// netFunc is a network that does what a test wants.
type netFunc func() error

func (f netFunc) Forward([]float32, []int) ([]float32, []int, error) { return nil, nil, f() }

// plainShot is a small photo without card or fruit; n makes its bytes its own.
func plainShot(t *testing.T, n int) Shot {
	t.Helper()
	m := image.NewGray(image.Rect(0, 0, 320+n, 240))
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "p.jpg")
	touchBytes(t, path, b.Bytes())
	return Shot{Input: Input{Path: path, Name: "p.jpg"}, Out: t.TempDir(), NoScale: true}
}

// sessionWith has one network.
func sessionWith(net segment.Net) *Session {
	m := &measurer{opt: &Options{Program: "test", CardLength: 100}, nets: make(chan segment.Net, 1)}
	m.nets <- net
	return &Session{base: m}
}

// A photo on which the network panics costs that photo its outlines, not the next one the network.
func TestSessionKeepsItsNetAfterAPanic(t *testing.T) {
	calls := 0
	s := sessionWith(netFunc(func() error { calls++; panic("bad picture") }))
	for n := range 2 {
		if err := s.Hold(plainShot(t, n)); err == nil {
			t.Fatal("a panic of the network was no error")
		}
		if len(s.base.nets) != 1 {
			t.Fatal("the network was not given back: the next photo would wait for ever")
		}
	}
	if calls != 2 {
		t.Errorf("the network was asked %d times, want 2", calls)
	}
}

// In a run the photo fails, with a sentence, and the batch goes on.
func TestPanicCostsOnePhoto(t *testing.T) {
	m := sessionWith(netFunc(func() error { panic("bad picture") })).base
	x := plainShot(t, 0)
	m.opt.Out, m.opt.NoScale = x.Out, true
	j := &job{in: x.Input}
	m.one(t.Context(), j)
	if j.part == nil || j.part.Photo.Status != record.StatusFailed || !strings.Contains(j.part.Photo.Message, "bad picture") {
		t.Errorf("a panic of the network left %+v", j.part)
	}
}

// The networks are freed only when no call needs them any more, and later calls say so.
func TestSessionCloseWaits(t *testing.T) {
	started, release := make(chan bool), make(chan bool)
	var order []string
	s := sessionWith(netFunc(func() error { started <- true; <-release; order = append(order, "used"); panic("done") }))
	s.base.closers = append(s.base.closers, func() { order = append(order, "freed") })
	held := make(chan error)
	x := plainShot(t, 0)
	go func() { held <- s.Hold(x) }()
	<-started
	closed := make(chan bool)
	go func() { s.Close(); close(closed) }()
	release <- true
	<-held
	<-closed
	if len(order) != 2 || order[0] != "used" {
		t.Errorf("order %q, want the network freed after its last use", order)
	}
	s.Close() // again: no harm
	if err := s.Hold(plainShot(t, 1)); err != errClosed {
		t.Errorf("after Close: %v, want %v", err, errClosed)
	}
}

// Somebody leafs through photos: those that were left before their turn came are not worked on.
func TestSessionHoldsTheNewestOnly(t *testing.T) {
	calls := 0
	s := sessionWith(netFunc(func() error { calls++; panic("counted") }))
	s.mu.Lock() // a correction is being measured
	done := make(chan error)
	for n := range 3 {
		x := plainShot(t, n)
		go func() { done <- s.Hold(x) }()
		for s.wanted.Load() != int64(n+1) {
			runtime.Gosched()
		}
	}
	s.mu.Unlock()
	for range 3 {
		<-done
	}
	if calls != 1 {
		t.Errorf("%d photos were worked on, want the newest only", calls)
	}
}
