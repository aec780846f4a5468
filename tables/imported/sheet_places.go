package imported

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// storedAt is one place of a row where values are stored.
type storedAt struct {
	stored *calibrationv1.Stored
	line   int
	column string
	cells  uint64
}

// stored are all of them, axes first.
func (s *sheet) stored() (all []storedAt) {
	count := func(a *calibrationv1.TableAxis) uint64 {
		if shared := s.axes[a.GetAxis()]; shared != nil {
			return uint64(max(int(shared.GetStored().GetCount()), len(shared.GetPoints())))
		}
		return uint64(max(int(a.GetStored().GetCount()), len(a.GetPoints())))
	}
	for _, a := range s.d.Axes {
		if a.Stored != nil {
			all = append(all, storedAt{a.Stored, s.shared[a.GetId()], "x_byte_order", uint64(a.Stored.GetCount())})
		}
	}
	for i, t := range s.d.Tables {
		if t.Stored == nil {
			t.Stored = &calibrationv1.Stored{} // the compiler says what is missing
		}
		cells := uint64(1)
		for k, a := range []*calibrationv1.TableAxis{t.X, t.Y} {
			if a == nil {
				continue
			}
			cells *= min(max(count(a), 1), maxPoints)
			if a.Stored != nil {
				all = append(all, storedAt{a.Stored, s.rows[i], []string{"x", "y"}[k] + "_byte_order", count(a)})
			}
		}
		if stride := uint64(t.Stored.GetStride()); stride > 0 {
			cells *= min(stride, 64)
		}
		all = append(all, storedAt{t.Stored, s.rows[i], "byte_order", min(cells, maxCells)})
	}
	return all
}

// columnOf is the column of what the compiler calls tables[3].x.stored.count.
func columnOf(path string) string {
	_, inside, _ := strings.Cut(path, ".")
	if strings.HasPrefix(path, "axes") {
		inside = "x." + inside
	}
	for _, c := range columns {
		if c.path != "" && c.path == inside {
			return c.name
		}
	}
	return inside
}

func wholeOf(cell string) (uint64, error) {
	u, err := strconv.ParseUint(strings.TrimPrefix(cell, "+"), 0, 64)
	if err != nil || len(cell) > 1 && cell[0] == '0' && cell[1] >= '0' && cell[1] <= '9' || strings.Contains(cell, "_") {
		return 0, fmt.Errorf("%.60q is not a whole number", cell)
	}
	return u, nil
}

func decimalOf(cell string, comma bool) (float64, error) {
	if comma {
		cell = strings.Replace(cell, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) || strings.ContainsAny(cell, "xX_") {
		return 0, fmt.Errorf("%.60q is not a number", cell)
	}
	return v, nil
}
