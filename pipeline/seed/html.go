package seed

import (
	_ "embed" // the page
	"fmt"
	"html/template"
	"io"

	"offtype/cluster/lot"
)

//go:embed plan.html.tmpl
var planText string

var planPage = template.Must(template.New("plan").Funcs(template.FuncMap{
	"percent": lot.Given,
	"metres": func(x float64) string {
		if x == 0 {
			return "–"
		}
		return fmt.Sprintf("%.1f m", x)
	},
	"at": func(x float64) string { return fmt.Sprintf("%.2f", x) },
}).Parse(planText))

// WriteHTML writes the plan with the bed list and the season's checklist as one page for printing.
func (p *Plan) WriteHTML(w io.Writer) error { return planPage.Execute(w, p) }
