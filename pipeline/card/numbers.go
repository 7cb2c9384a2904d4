package card

import (
	"fmt"
	"strconv"
	"strings"
)

// ParseNumbers reads lists such as "1-24", "3" or "1-4,9,12-14", in the order written.
func ParseNumbers(s string) ([]int, error) {
	var out []int
	for _, part := range strings.Split(s, ",") {
		a, b, span := strings.Cut(strings.TrimSpace(part), "-")
		lo, err := strconv.Atoi(strings.TrimSpace(a))
		hi := lo
		if err == nil && span {
			hi, err = strconv.Atoi(strings.TrimSpace(b))
		}
		if err != nil || lo < 1 || hi > MaxPlant || lo > hi {
			return nil, fmt.Errorf("plant numbers %q: write them like 1-24 or 3,7,9-12, from 1 to %d", s, MaxPlant)
		}
		for n := lo; n <= hi; n++ {
			out = append(out, n)
		}
	}
	return out, nil
}
