package outcome

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
)

//go:embed page.html
var pageText string

var page = template.Must(template.New("outcome").Parse(pageText))

// mostChanged and mostRuns keep the page to two sheets of A4; the rest is counted.
const (
	mostChanged = 12
	mostRuns    = 4
	mostDoubts  = 2
)

// view is what the page shows.
type view struct {
	*Outcome
	Rows                  []Row
	Plot, Panels          template.HTML
	ShownRuns             []*Measured
	ShownChanged          []Changed
	MoreRuns, MoreChanged int
	Doubts                []string
	MoreDoubts            int
	Where, BandText       string
	Opened                string
	Cautions              []string
}

// WriteHTML writes the page: one file without anything from elsewhere, for two sheets of A4.
func (o *Outcome) WriteHTML(w io.Writer) error {
	v := view{Outcome: o, Rows: o.Rows(), Cautions: Cautions,
		Plot:      Plot(o.Curves(), "torque and power over engine speed, before and after"),
		Panels:    Plot(o.Watched(), "what the engine did over engine speed, before and after"),
		ShownRuns: o.Runs[:min(len(o.Runs), mostRuns)], ShownChanged: o.Changed[:min(len(o.Changed), mostChanged)]}
	v.MoreRuns, v.MoreChanged = len(o.Runs)-len(v.ShownRuns), len(o.Changed)-len(v.ShownChanged)
	v.Opened = when(o.Job.GetOpened())
	for _, m := range o.Runs {
		for _, r := range m.Remarks {
			v.Doubts = append(v.Doubts, m.Name+": "+r.Text)
		}
	}
	if v.MoreDoubts = len(v.Doubts) - mostDoubts; v.MoreDoubts > 0 {
		v.Doubts = v.Doubts[:mostDoubts]
	}
	if o.Gain != nil {
		v.Where, v.BandText = o.MeasuredAt(), o.Band()
	}
	if err := page.Execute(w, v); err != nil {
		return fmt.Errorf("outcome page: %w", err)
	}
	return nil
}
