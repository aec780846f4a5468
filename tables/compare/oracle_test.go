package compare

import (
	"math"
	"slices"
	"strings"

	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// checkOrder reckons anew that findings are sorted as people are told they are, that each key stands once for each origin, and that the
// verdict is the worst of what counts.
func checkOrder(t *rapid.T, in Input, r *calibrationv1.Report) {
	lay := in.Layout
	if in.CandidateLayout != nil {
		lay = in.CandidateLayout
	}
	ranks := []string{"clear", "notice", "caution", "warning", "danger"}
	weight := func(f *calibrationv1.Finding) float64 {
		excess := f.GetWorst().GetExcess()
		size := math.Abs(f.GetWorst().GetLimit())
		if table := lay.ByID[f.Table]; table != nil {
			size = max(size, table.Cells.Conv.Step())
		}
		switch v := excess / size; {
		case excess == 0:
			return 0
		case v != v:
			return math.Inf(1)
		default:
			return v
		}
	}
	after := func(f, g *calibrationv1.Finding) bool { // f stands before g and should not
		a, b := f.Origin == "inherited", g.Origin == "inherited"
		if a != b {
			return a
		}
		if x, y := slices.Index(ranks, f.Severity), slices.Index(ranks, g.Severity); x != y {
			return x < y
		}
		if x, y := weight(f), weight(g); x != y {
			return x < y
		}
		if f.Rule != g.Rule {
			return f.Rule > g.Rule
		}
		return f.Table > g.Table
	}
	seen, worst := map[string]bool{}, 0
	for i, f := range r.Findings {
		if i > 0 && after(r.Findings[i-1], f) {
			t.Fatalf("%v stands before %v", r.Findings[i-1], f)
		}
		key := strings.Join([]string{f.Rule, f.Table, f.Signal, f.Origin}, ":")
		if f.Rule == "unmapped-bytes" || f.Rule == "checksum" || f.Rule == "axis-order" { // one a kind of content, a sum that is restamped or not, an axis
			key += f.Severity + f.Detail
		}
		if seen[key] {
			t.Fatalf("%q stands twice in %v", key, r.Findings)
		}
		seen[key] = true
		if f.Origin != "inherited" {
			worst = max(worst, slices.Index(ranks, f.Severity))
		}
	}
	if r.Verdict != ranks[worst] {
		t.Fatalf("the verdict is %s, the worst that counts %s", r.Verdict, ranks[worst])
	}
}

// checkOverlaps reckons anew, bit by bit, which tables lie on bits of changed ones.
func checkOverlaps(t *rapid.T, in Input, r *calibrationv1.Report) {
	bits := func(table *definition.Table) map[uint64]bool {
		c, out := table.Cells, map[uint64]bool{}
		for row := range c.NY {
			for col := range c.NX {
				for bit := range 8 * c.Bytes {
					at := c.At(row, col) + uint64(bit/8)
					if !c.Little {
						at = c.At(row, col) + uint64(c.Bytes-1-bit/8)
					}
					if c.Mask>>bit&1 == 1 {
						out[8*at+uint64(bit%8)] = true
					}
				}
			}
		}
		return out
	}
	changed := map[string]bool{}
	for _, table := range r.Tables {
		changed[table.Id] = true
	}
	said := map[[2]string]bool{}
	for _, f := range r.Findings {
		if f.Rule == "overlap" {
			for _, other := range f.Tables {
				said[[2]string{f.Table, other}] = true
			}
		}
	}
	for i, a := range in.Layout.Tables {
		for k, b := range in.Layout.Tables {
			shares := false
			of := bits(b)
			for bit := range bits(a) {
				shares = shares || of[bit]
			}
			want := i != k && shares && changed[a.ID] && (i < k || !changed[b.ID])
			if got := said[[2]string{a.ID, b.ID}]; got != want {
				t.Fatalf("that %s overlaps %s is said: %v, want %v", a.ID, b.ID, got, want)
			}
		}
	}
}
