package desk

import "time"

// sharing is what lets a phone in.
type sharing struct{ now func() time.Time }

func newSharing(now func() time.Time) *sharing { return &sharing{now: now} }

func (s *sharing) stop() {}
