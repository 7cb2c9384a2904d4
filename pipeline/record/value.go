package record

import (
	"encoding/json"
	"fmt"
	"math"
	"unicode"
	"unicode/utf8"
)

// MarshalJSON writes [value, uncertainty], null standing for not measured or not known.
func (v Value) MarshalJSON() ([]byte, error) {
	p := func(x float64) *float64 {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return nil
		}
		return &x
	}
	return json.Marshal([2]*float64{p(v.V), p(v.U)})
}

// UnmarshalJSON reads what MarshalJSON wrote.
func (v *Value) UnmarshalJSON(b []byte) error {
	var p [2]*float64
	if err := json.Unmarshal(b, &p); err != nil {
		return err
	}
	*v = None()
	if p[0] != nil {
		v.V = *p[0]
	}
	if p[1] != nil {
		v.U = *p[1]
	}
	return nil
}

// Capital begins s with a capital letter, as a sentence is.
func Capital(s string) string {
	first, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return ""
	}
	return string(unicode.ToUpper(first)) + s[n:]
}

// Count says a number of things: "1 photo", "4 photos".
func Count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
