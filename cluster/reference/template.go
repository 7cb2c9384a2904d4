package reference

import _ "embed" // the template is part of the program

// Template is a description to fill in by hand, with an explanation of every key.
//
//go:embed template.yaml
var Template string
