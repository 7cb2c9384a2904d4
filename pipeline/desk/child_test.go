package desk

import (
	"context"
	"regexp"
	"strings"
	"testing"
	"time"
)

// childT stands in for a test where there is none.
type childT struct{}

func (childT) Context() context.Context { return context.Background() }

var keyPattern = regexp.MustCompile(`id="p-([0-9a-f]{16})"`)

// waitMeasured waits until the photos of the harvest are through and returns the first one's key.
func waitMeasured(t *testing.T, c *client) string {
	t.Helper()
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(200 * time.Millisecond) {
		_, b := c.get("/h/2026-squash/photos/list")
		if m := keyPattern.FindStringSubmatch(b); m != nil && strings.Contains(b, "All photos are through") {
			return m[1]
		}
	}
	t.Fatal("the photo was not measured in time")
	return ""
}
