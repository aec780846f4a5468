package sheet

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"testing"

	"charm.land/lipgloss/v2"
	"github.com/charmbracelet/colorprofile"
	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed"
	"witnessmark/tables/definition"
)

// slowGrid is the slow twin of writeGrid: texts cell by cell, styled, measured and coloured by the library, and the whole of it turned
// to what the reader has at its end.
func slowGrid(def *definition.Table, x, y []float64, texts [][]string, signs [][]int8, width int) string {
	var b strings.Builder
	rows, cols := len(texts), len(texts[0])
	heads, sides := breakpoints(Axis(def, 0), x, cols), breakpoints(Axis(def, 1), y, rows)
	wide, side := 0, 0
	for r := range rows {
		side = max(side, lipgloss.Width(sides[r]))
		for c := range cols {
			wide = max(wide, lipgloss.Width(texts[r][c]), lipgloss.Width(heads[c]))
		}
	}
	fmt.Fprintf(&b, "  across: %s; down: %s\n", axisIn(def.X, "x"), axisIn(def.Y, "y"))
	block := max(1, (width-4-side)/(wide+2))
	for from := 0; from < cols; from += block {
		to := min(cols, from+block)
		if x != nil {
			fmt.Fprintf(&b, "  %*s", side, "")
			for c := from; c < to; c++ {
				fmt.Fprintf(&b, "  %s", bold.style.Render(fmt.Sprintf("%*s", wide, heads[c])))
			}
			fmt.Fprintln(&b)
		}
		for r := range rows {
			fmt.Fprintf(&b, "  %s", bold.style.Render(fmt.Sprintf("%*s", side, sides[r])))
			for c := from; c < to; c++ {
				text := texts[r][c]
				b.WriteString("  " + strings.Repeat(" ", wide-lipgloss.Width(text)))
				switch signs[r][c] {
				case 1:
					text = up.style.Render(text)
				case -1:
					text = down.style.Render(text)
				}
				b.WriteString(text)
			}
			fmt.Fprintln(&b)
		}
	}
	return b.String()
}

func slowValue(d decimals, v changed.Value) string {
	switch {
	case v.Is == changed.Word:
		return v.Word
	case v.Is == changed.None:
		return "—"
	case math.IsInf(v.Number, 0):
		return map[bool]string{true: "Infinity", false: "-Infinity"}[v.Number > 0]
	}
	return d.text(v.Number)
}

// Whatever a grid holds, for every kind of reader and width it is what the twin prints.
func TestGridAsTheLibraryStylesIt(t *testing.T) {
	word := rapid.Map(rapid.OneOf(rapid.SampledFrom([]string{"off", "", "漢字", "e\u0301", "two\nlines", "a\tb", "\r", "🏁", "raw 7"}), rapid.String()), plainText)
	value := rapid.Custom(func(t *rapid.T) changed.Value {
		switch rapid.IntRange(0, 9).Draw(t, "is") {
		case 0:
			return changed.Value{}
		case 1:
			return changed.Value{Is: changed.Word, Word: word.Draw(t, "word")}
		case 2:
			return changed.Value{Is: changed.Number, Number: rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), math.Copysign(0, -1), 1e300}).Draw(t, "odd")}
		}
		return changed.Value{Is: changed.Number, Number: float64(rapid.IntRange(-500, 500).Draw(t, "n")) * 0.75}
	})
	rapid.Check(t, func(t *rapid.T) {
		rows, cols := rapid.IntRange(1, 4).Draw(t, "rows"), rapid.IntRange(1, 9).Draw(t, "cols")
		def := &definition.Table{X: &definition.Axis{Quantity: "engine_speed"}, Y: &definition.Axis{ID: word.Draw(t, "y"), Labels: []string{word.Draw(t, "label"), "b"}}}
		def.Axes = []*definition.Axis{def.X, def.Y}
		x, y := make([]float64, cols), make([]float64, rows)
		for i := range max(rows, cols) {
			x[min(i, cols-1)], y[min(i, rows-1)] = 500*float64(i), float64(i)
		}
		d := decimals(rapid.IntRange(-1, 3).Draw(t, "decimals"))
		width := rapid.IntRange(10, 120).Draw(t, "width")
		var whole bytes.Buffer
		b := paperFor(&whole)
		b.to.Profile = rapid.SampledFrom([]colorprofile.Profile{colorprofile.NoTTY, colorprofile.ASCII, colorprofile.ANSI, colorprofile.ANSI256, colorprofile.TrueColor}).Draw(t, "reader")
		texts, signs := make([][]string, rows), make([][]int8, rows)
		for r := range rows {
			for range cols {
				was, is, delta, same := value.Draw(t, "was"), value.Draw(t, "is"), float64(rapid.IntRange(-1, 1).Draw(t, "delta")), rapid.Bool().Draw(t, "same")
				b.grid.change(b.number(d), was, is, delta, same)
				text, sign := slowValue(d, was), int8(0)
				if is := slowValue(d, is); !same || is != text {
					text, sign = text+"→"+is+map[float64]string{1: " ▲", -1: " ▼", 0: " ◆"}[delta], int8(delta)
				}
				texts[r], signs[r] = append(texts[r], text), append(signs[r], sign)
			}
		}
		writeGrid(b, def, x, y, cols, width)
		if err := b.done(); err != nil {
			t.Fatal(err)
		}
		var want bytes.Buffer
		to := colorprofile.Writer{Forward: &want, Profile: b.to.Profile}
		if _, err := to.WriteString(slowGrid(def, x, y, texts, signs, width)); err != nil {
			t.Fatal(err)
		}
		if whole.String() != want.String() {
			t.Fatalf("printed\n%q\nwant\n%q", whole.String(), want.String())
		}
	})
}

// What steers a terminal and is not ink's ends at the paper, were it ever let that far.
func TestPaperTakesInkAlone(t *testing.T) {
	for text, want := range map[string]string{
		"a\x1b[1mb\x1b[mc": "a\x1b[1mb\x1b[mc", "\x1b]0;title\x07": "]0;title\x07", "\x1b[2J": "[2J", "\x1b": "", "\x1b[": "[", "\x1b[1;3": "[1;3", "\x1b[38;2;1;2;3m": "\x1b[38;2;1;2;3m", "m\x1b\x1b[m": "m\x1b[m",
	} {
		var out bytes.Buffer
		b := paperFor(&out)
		b.to.Profile = colorprofile.TrueColor
		b.WriteString(text)
		if err := b.done(); err != nil || out.String() != want {
			t.Errorf("%q: %q, %v; want %q", text, out.String(), err, want)
		}
	}
}

// Columns that do not fit each other are no sheet without changes.
func TestSheetOfAReportThatContradictsItself(t *testing.T) {
	err := Write(io.Discard, &calibrationv1.Report{Tables: []*calibrationv1.TableReport{{Id: "ign", Cells: 2, Changed: 2, ChangedCells: &calibrationv1.ChangedCells{Base: []float64{1}}}}}, Options{})
	if err == nil || !strings.Contains(err.Error(), `table "ign": changed cells: base has 1 items`) {
		t.Error(err)
	}
}

// A sheet that cannot be written says so, and a long one is handed on in parts.
func TestPaperIsHandedOn(t *testing.T) {
	r := &calibrationv1.Report{Verdict: "clear"}
	for range 30 {
		r.Tables = append(r.Tables, &calibrationv1.TableReport{Id: "t", Cells: 1000, Changed: 1000, ChangedCells: &calibrationv1.ChangedCells{
			Axes: []*calibrationv1.ChangedAxis{{Count: 1000, Points: make([]float64, 1000)}}, Base: make([]float64, 1000), Candidate: make([]float64, 1000)}})
	}
	var most parts
	if err := Write(&most, r, Options{}); err != nil || most.n < 4 || most.largest > 3*sheetful {
		t.Errorf("%d parts, the largest of %d bytes; %v", most.n, most.largest, err)
	}
	closed, err := os.Open(os.DevNull) // for reading
	if err != nil {
		t.Fatal(err)
	}
	defer closed.Close()
	if err := Write(closed, r, Options{}); err == nil {
		t.Error("what was not written was")
	}
}

type parts struct{ n, largest int }

func (p *parts) Write(b []byte) (int, error) {
	p.n, p.largest = p.n+1, max(p.largest, len(b))
	return len(b), nil
}
