package printed

import (
	"io"
	"runtime"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// gauge counts what is written, and now and then what is in use.
type gauge struct {
	bytes, looked int
	inUse         uint64 // at most
}

func (g *gauge) Write(b []byte) (int, error) {
	if g.bytes += len(b); g.bytes-g.looked > 2<<20 {
		g.looked = g.bytes
		g.inUse = max(g.inUse, inUse())
	}
	return len(b), nil
}

func inUse() uint64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// manyCells is a report of so many tables of 1000 cells each.
func manyCells(tables int) *calibrationv1.Report {
	axis := func(n int) *calibrationv1.ChangedAxis {
		a := &calibrationv1.ChangedAxis{Count: uint32(n), Points: make([]float64, n)}
		for i := range a.Points {
			a.Points[i] = float64(i) * 12.5
		}
		return a
	}
	m := &calibrationv1.ChangedCells{Axes: []*calibrationv1.ChangedAxis{axis(50), axis(20)}, Affine: &calibrationv1.Affine{Factor: 0.0078125}}
	for i := range 1000 {
		m.BaseRaw, m.Rise = append(m.BaseRaw, int64(i*i%65536)), append(m.Rise, int64(i%300-150))
	}
	r := &calibrationv1.Report{}
	for range tables {
		r.Tables = append(r.Tables, &calibrationv1.TableReport{Id: "t", Kind: "map", Cells: 1000, Changed: 1000, ChangedCells: m})
	}
	return r
}

// What is in use while a report is written is the same of a small one and of a large one.
func TestMemoryDoesNotGrow(t *testing.T) {
	for name, write := range map[string]func(w io.Writer, r *calibrationv1.Report) error{"JSON": JSON, "CSV": CSV} {
		for _, tables := range []int{40, 400} {
			r := manyCells(tables)
			var g gauge
			before := inUse()
			if err := write(&g, r); err != nil {
				t.Fatal(err)
			}
			more := int64(g.inUse) - int64(before)
			t.Logf("%s of %d cells: %d MiB written, %d KiB in use beside the report", name, 1000*tables, g.bytes>>20, more>>10)
			if g.looked == 0 || more > 1<<20 {
				t.Errorf("%s of %d cells: %d bytes in use beside the report", name, 1000*tables, more)
			}
			runtime.KeepAlive(r)
		}
	}
}

// A cell costs no allocation.
func TestCellsAllocateNothing(t *testing.T) {
	for name, write := range map[string]func(w io.Writer, r *calibrationv1.Report) error{"JSON": JSON, "CSV": CSV} {
		r := manyCells(20)
		if n := testing.AllocsPerRun(3, func() { _ = write(io.Discard, r) }); n > 20_000/20 {
			t.Errorf("%s of 20,000 cells in 20 tables makes %v allocations", name, n)
		}
	}
}
