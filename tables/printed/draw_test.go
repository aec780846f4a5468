package printed

import (
	"math"

	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// Numbers as they are written in every way that there is, and a few that come again.
func drawNumber(t *rapid.T) float64 {
	switch rapid.IntRange(0, 5).Draw(t, "kind") {
	case 0:
		return rapid.SampledFrom([]float64{0, math.Copysign(0, -1), math.NaN(), math.Inf(1), math.Inf(-1), 1e-6, 9.9e-7, 1e20, 1e21, -1.5e-9, 1e-10, 5e-324, math.MaxFloat64, 1 << 53}).Draw(t, "odd")
	case 1:
		return rapid.Float64().Draw(t, "any")
	}
	return float64(rapid.IntRange(-400, 400).Draw(t, "steps")) * 0.75
}

func drawNumbers(t *rapid.T, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = drawNumber(t)
	}
	return out
}

func drawText(t *rapid.T) string {
	return rapid.OneOf(rapid.SampledFrom([]string{"", "off", "on", "=1+1", "-", "NaN", "a,b", `"`, "changes\": []", "a\nb", " lead", "é\u2028<>&", "\\.", "\x01\x7f\t"}), rapid.String()).Draw(t, "text")
}

func drawTexts(t *rapid.T, n int) []string {
	out := make([]string, n)
	for i := range out {
		out[i] = drawText(t)
	}
	return out
}

func drawSome(t *rapid.T, n int) (out []uint32) {
	for i := range n {
		if rapid.IntRange(0, 3).Draw(t, "some") == 0 {
			out = append(out, uint32(i))
		}
	}
	return out
}

func drawAxis(t *rapid.T) *calibrationv1.ChangedAxis {
	n := rapid.IntRange(1, 4).Draw(t, "count")
	if rapid.IntRange(0, 4).Draw(t, "labelled") == 0 {
		return &calibrationv1.ChangedAxis{Count: uint32(n), Labels: drawTexts(t, n)}
	}
	a := &calibrationv1.ChangedAxis{Count: uint32(n), Points: drawNumbers(t, n)}
	if rapid.IntRange(0, 2).Draw(t, "moved") == 0 {
		a.Moved = drawSome(t, n)
		a.Before = drawNumbers(t, len(a.Moved))
	}
	return a
}

// drawTable is a table of any kind whose columns fit each other.
func drawTable(t *rapid.T) *calibrationv1.TableReport {
	kinds := []string{"scalar", "curve", "map", "block", "block", "text"}
	kind := rapid.IntRange(0, 5).Draw(t, "table")
	m, cells := &calibrationv1.ChangedCells{}, 1
	for range map[bool]int{true: kind, false: 0}[kind < 5] {
		m.Axes = append(m.Axes, drawAxis(t))
		cells *= int(m.Axes[len(m.Axes)-1].Count)
	}
	n, free := rapid.IntRange(1, cells).Draw(t, "changed"), 0
	free = cells - n
	for range n {
		skip := rapid.IntRange(0, min(free, 3)).Draw(t, "skipped")
		m.Skipped, free = append(m.Skipped, uint32(skip)), free-skip
	}
	raw := rapid.Bool().Draw(t, "raw")
	switch way := rapid.IntRange(0, 2).Draw(t, "way"); {
	case way == 0 || kind == 5:
		m.Words = drawTexts(t, rapid.IntRange(1, 3).Draw(t, "words"))
		for range n {
			m.BaseWord = append(m.BaseWord, uint32(rapid.IntRange(0, len(m.Words)-1).Draw(t, "was")))
			m.CandidateWord = append(m.CandidateWord, uint32(rapid.IntRange(0, len(m.Words)-1).Draw(t, "is")))
		}
	case way == 1:
		m.Affine, raw = &calibrationv1.Affine{Factor: drawNumber(t) + 0, Offset: drawNumber(t) + 0}, true
		m.BaseUnsigned = rapid.Bool().Draw(t, "unsigned")
		m.CandidateUnsigned = m.BaseUnsigned
	default:
		m.Base, m.Candidate = drawNumbers(t, n), drawNumbers(t, n)
	}
	if raw && kind != 5 {
		m.BaseRaw, m.Rise = rapid.SliceOfN(rapid.Int64(), n, n).Draw(t, "raws"), rapid.SliceOfN(rapid.Int64(), n, n).Draw(t, "rises")
	}
	if m.Words == nil {
		m.BaseOff, m.CandidateOff = drawSome(t, n), drawSome(t, n)
	}
	return &calibrationv1.TableReport{Id: drawText(t), Kind: kinds[kind], Unit: drawText(t), Cells: uint32(cells), Changed: uint32(n), ChangedCells: m, JudgedBy: drawTexts(t, n%3)}
}

// drawReport has some of each list.
func drawReport(t *rapid.T) *calibrationv1.Report {
	v := drawNumber(t) + 0 // never -0, which copying a message loses
	r := &calibrationv1.Report{Semantics: 3, Verdict: drawText(t)}
	for range rapid.IntRange(0, 4).Draw(t, "tables") {
		r.Tables = append(r.Tables, drawTable(t))
	}
	if rapid.Bool().Draw(t, "more") {
		r.Tables = append(r.Tables, &calibrationv1.TableReport{Id: drawText(t), AxesChanged: true, Delta: &calibrationv1.Delta{Min: v},
			Surfaces:  []*calibrationv1.Surface{{X: drawNumbers(t, 2)}, {Slice: &calibrationv1.Slice{Index: []uint32{1}}}},
			Alignment: &calibrationv1.Alignment{X: []*calibrationv1.AlignedIndex{{Side: "base", Point: v}}}})
		r.Base, r.Meant = &calibrationv1.ImageRef{Sha256: drawText(t)}, &calibrationv1.Meant{}
		r.Job = &calibrationv1.JobFacts{Numbers: map[string]float64{drawText(t): v, drawText(t): 2}}
		r.Findings = []*calibrationv1.Finding{{Rule: drawText(t), Tables: drawTexts(t, 2), Worst: &calibrationv1.Worst{Value: &v, Inputs: map[string]float64{"": v}}}, {}}
		r.Margins, r.Holes = []*calibrationv1.Margin{{Margin: v}}, []*calibrationv1.Hole{{Side: drawText(t)}}
	}
	return r
}
