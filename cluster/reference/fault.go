package reference

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/token"
)

// yamlError turns a parser's message about text into line, what and what to do.
func yamlError(err error, text string) error {
	e := &SyntaxError{What: "not readable as YAML", Do: "compare with a form made by `offtype describe --new FILE`, or with a description saved from the page"}
	var at *token.Token
	if ye, ok := err.(yaml.Error); ok {
		if t := ye.GetToken(); t != nil && t.Position != nil {
			at, e.Line = t, t.Position.Line
		}
		e.What = strings.ToLower(ye.GetMessage()[:min(1, len(ye.GetMessage()))]) + ye.GetMessage()[min(1, len(ye.GetMessage())):]
	}
	if !printable(e.What) {
		e.What = "it is no text; it may be a picture or another kind of file"
	}
	switch {
	case strings.Contains(e.What, "unknown field"):
		e.Do = "correct the spelling or take the line out"
		if at != nil {
			e.misplaced(at)
		}
	case strings.Contains(e.What, "was used where"):
		e.What = "a key with its value belongs here, such as name: My squash"
	case strings.Contains(e.What, "cannot unmarshal"):
		e.wrongKind(at, text)
	case strings.Contains(e.What, "not allowed in this context") && at != nil:
		e.indent(at, text)
	case strings.Contains(e.What, "found character '\t'"):
		e.What, e.Do = "a tab stands at the start of this line", "use spaces, as in the lines around it"
	}
	return e
}

// wrongKind says what stands where another kind of value belongs.
func (e *SyntaxError) wrongKind(at *token.Token, text string) {
	number := strings.Contains(e.What, "type float64") || strings.Contains(e.What, "type int")
	word := ""
	if at != nil && !slices.Contains([]string{"[", "{"}, at.Value) {
		word = strings.TrimSpace(at.Value)
	}
	e.Do = "numbers are written plain (240), words without a colon, versions in quotes (\"1.10\")"
	switch {
	case number && commaNumber.MatchString(word):
		e.comma(word)
	case number && leadingNumber.MatchString(word):
		e.What, e.Do = fmt.Sprintf("%q is not a number", quoted(word)), fmt.Sprintf("write the number alone (%s); its unit stands apart, as unit: mm", leadingNumber.FindStringSubmatch(word)[1])
	case number && word != "":
		e.What, e.Do = fmt.Sprintf("%q is not a number", quoted(word)), "write one plain, such as 240 or 1.5"
	default:
		e.What = "another kind of value stands here than belongs here"
		if l := lineOf(text, e.Line); l != "" {
			e.What += fmt.Sprintf(": %q", quoted(strings.TrimSpace(l)))
		}
	}
}

var (
	commaNumber   = regexp.MustCompile(`^[+-]?\d+,\d+$`)
	leadingNumber = regexp.MustCompile(`^([+-]?\d+(?:\.\d+)?)\s*[^\d\s.,]+$`)
	// halvedNumber is a decimal comma between braces, where YAML reads it as the end of the value.
	halvedNumber = regexp.MustCompile(`[{,]\s*(?:low|high|mean|spread|plants_spread|weight|tolerance)\s*:\s*([+-]?\d+,\d+)\s*[,}]`)
)

// comma says that a number is written with a comma.
func (e *SyntaxError) comma(number string) {
	whole, part, _ := strings.Cut(number, ",")
	e.What = fmt.Sprintf("%q is not a number", number)
	e.Do = fmt.Sprintf("write %s.%s with a point", whole, part)
	if len(part) == 3 { // a thousand as like as not
		e.Do += fmt.Sprintf(", or %s%s without the comma", whole, part)
	}
}

// halved finds a number with a decimal comma between braces, which would be cut off at the comma in silence.
func halved(text string) error {
	for n, l := range strings.Split(text, "\n") {
		code, _, _ := strings.Cut(l, " #")
		if m := halvedNumber.FindStringSubmatch(code); m != nil && !strings.HasPrefix(strings.TrimSpace(l), "#") {
			e := &SyntaxError{Line: n + 1}
			e.comma(m[1])
			return e
		}
	}
	return nil
}

// indent tells a line that starts in another column than it should; other faults keep the parser's words.
func (e *SyntaxError) indent(at *token.Token, text string) {
	e.Line += strings.Count(strings.TrimRight(at.Origin, " \t\n"), "\n") - strings.Count(at.Origin[:len(at.Origin)-len(strings.TrimLeft(at.Origin, " \t\n"))], "\n")
	this, above := lineOf(text, e.Line), ""
	for n := e.Line - 1; n > 0 && above == ""; n-- {
		if l := lineOf(text, n); !strings.HasPrefix(strings.TrimSpace(l), "#") {
			above = strings.TrimRight(l, " \t")
		}
	}
	if far(this) == far(above) || this == "" || above == "" {
		return
	}
	e.What = fmt.Sprintf("this line is indented differently from the line above: %q", quoted(strings.TrimSpace(this)))
	e.Do = "start lines that belong together equally far in, with spaces"
}

// misplaced tells a known key that stands too far in or not far enough.
func (e *SyntaxError) misplaced(at *token.Token) {
	top := []string{"format", "name", "species", "crop", "version", "learnt", "traits", "skin", "second", "marks", "pattern", "shape", "notes"}
	switch {
	case slices.Contains(top, at.Value) && at.Position.Column > 1:
		e.What, e.Do = fmt.Sprintf("%q is indented, as if it belonged to the lines above", at.Value), "start this line at its very left"
	case slices.ContainsFunc((&Description{}).entries(), func(x entry) bool { return x.name == at.Value }) && at.Position.Column == 1:
		e.What, e.Do = fmt.Sprintf("%q stands at the very left", at.Value), "put it under traits: with two spaces before it"
	}
}

func far(line string) int { return len(line) - len(strings.TrimLeft(line, " \t")) }

// lineOf gives a line of text, from 1; empty when there is none.
func lineOf(text string, n int) string {
	ls := strings.Split(strings.ReplaceAll(text, "\r\n", "\n"), "\n")
	if n < 1 || n > len(ls) {
		return ""
	}
	return ls[n-1]
}

// quoted shortens what is shown of a line.
func quoted(s string) string {
	if r := []rune(s); len(r) > 60 {
		return string(r[:60]) + "…"
	}
	return s
}

// printable reports whether s holds text only.
func printable(s string) bool {
	return utf8.ValidString(s) && !strings.ContainsFunc(s, func(r rune) bool { return r != '\n' && r != '\t' && !unicode.IsPrint(r) })
}
