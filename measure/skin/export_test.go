package skin

// Dumps collects the parts of each fruit as Measure goes on.
func Dumps() map[int]string {
	out := map[int]string{}
	n := 0
	DebugParts = func(s *patchwork) { out[n] = s.Dump(); n++ }
	DebugLay = func(t string) { out[n-1] += t }
	return out
}

// LayLog collects the measures of the patterns.
var LayLog string

func init() { DebugLay = func(t string) { LayLog += t + "\n" } }
