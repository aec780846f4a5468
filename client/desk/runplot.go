package desk

import (
	"encoding/json"
	"html/template"
	"math"

	"witnessmark/client/outcome"
)

// runPlot is a drawing of runs, and the curves that its reader can ask for values.
type runPlot struct {
	Drawing   template.HTML
	Label     string // what it shows
	Curves    string // JSON, for the page's script
	Low, High int    // engine speeds, 1/min
}

// readable is one curve of a drawing: what, whose, and its points.
type readable struct {
	What string    `json:"what"`
	Name string    `json:"name"`
	X    []float64 `json:"x"`
	Y    []float64 `json:"y"`
}

// plotOf draws panels. Faint curves and samples are to be looked at, and are not read.
func plotOf(panels []outcome.Panel, label string) (p runPlot, err error) {
	p.Drawing, p.Label = outcome.Plot(panels, label), label
	low, high := math.Inf(1), math.Inf(-1)
	read := []readable{}
	for _, panel := range panels {
		for _, l := range panel.Lines {
			if l.Faint || l.Dots {
				continue
			}
			one := readable{What: panel.Title, Name: l.Name}
			for i := range min(len(l.X), len(l.Y)) {
				if x, y := l.X[i], l.Y[i]; !math.IsNaN(x-y) && !math.IsInf(x, 0) && !math.IsInf(y, 0) {
					one.X, one.Y = append(one.X, x), append(one.Y, math.Round(y*1e4)/1e4)
					low, high = min(low, x), max(high, x)
				}
			}
			if len(one.X) > 0 {
				read = append(read, one)
			}
		}
	}
	if len(read) == 0 {
		return p, nil
	}
	p.Low, p.High = int(math.Ceil(low)), int(math.Floor(high))
	text, err := json.Marshal(read)
	p.Curves = string(text)
	return p, err
}
