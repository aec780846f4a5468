package imported

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/a2l"
)

func sorted(rows []a2l.Row) []a2l.Row {
	rows = slices.Clone(rows)
	slices.SortStableFunc(rows, func(a, b a2l.Row) int { return cmp.Or(cmp.Compare(a.Low, b.Low), cmp.Compare(a.High, b.High)) })
	return rows
}

// verbal are names of raw values: of a range up to the next one, where both say the same end.
func (m *means) verbal(t *a2l.Table, r raw) error {
	labels := map[string]string{}
	rows := sorted(t.Rows)
	m.labels = func(v float64) string { return nameOf(rows, t, v) }
	for i, row := range rows {
		low, high := math.Ceil(row.Low), math.Floor(row.High)
		if i+1 < len(rows) && rows[i+1].Low == row.High && row.Low < row.High {
			high = math.Ceil(row.High) - 1
		}
		if i > 0 && rows[i-1].High >= row.Low && !(rows[i-1].High == row.Low && rows[i-1].Low < row.Low) {
			if rows[i-1] == row {
				continue
			}
			return fmt.Errorf("%s %.100s has two texts for raw %v", t.Block, t.Name, row.Low)
		}
		low, high = max(low, r.low), min(high, r.high)
		text := oneLine(row.Means)
		if low > high || text == "" {
			continue // no raw value, or one without a name
		}
		if math.Abs(low) >= 1<<53 || math.Abs(high) >= 1<<53 {
			return fmt.Errorf("%s %.100s names raw values beyond 2^53", t.Block, t.Name)
		}
		key := fmt.Sprintf("%d", int64(low))
		if low < high {
			key = fmt.Sprintf("%d..%d", int64(low), int64(high))
		}
		labels[key] = text
	}
	if t.HasDefault && oneLine(t.Default) != "" {
		labels["else"] = oneLine(t.Default)
	}
	switch {
	case r.float:
		m.left = fmt.Sprintf("it holds floats, so they stay numbers without the texts of %s %.100s", t.Block, t.Name)
	case len(labels) > 0:
		m.conv = &calibrationv1.Conversion{Labels: labels}
	}
	return nil
}

// nameOf is the text of a raw value; its number where there is none.
func nameOf(rows []a2l.Row, t *a2l.Table, v float64) string {
	for _, row := range rows {
		if v >= row.Low && (v < row.High || v == row.Low || v == row.High) && oneLine(row.Means) != "" {
			return oneLine(row.Means)
		}
	}
	if t.HasDefault && oneLine(t.Default) != "" {
		return oneLine(t.Default)
	}
	return fmt.Sprintf("%v", v)
}

// maxCodes bounds how many raw values without a value a type is given one by one.
const maxCodes = 64

// status are raw values that stand for a state in place of a number.
func (m *means) status(t *a2l.Table, name string, r raw) {
	if t == nil || t.Block == "COMPU_TAB" || r.float {
		m.left = fmt.Sprintf("the texts of STATUS_STRING_REF %.100s are left away", name)
		return
	}
	var codes []int64
	for _, row := range sorted(t.Rows) {
		low, high := max(math.Ceil(row.Low), r.low), min(math.Floor(row.High), r.high)
		if high-low >= maxCodes || len(codes) > maxCodes || math.Abs(low) >= 1<<53 {
			m.left = fmt.Sprintf("the texts of STATUS_STRING_REF %.100s are left away: it names more than %d raw values", name, maxCodes)
			return
		}
		for v := low; v <= high; v++ {
			codes = append(codes, int64(v))
		}
	}
	slices.Sort(codes)
	m.codes = slices.Compact(codes)
}
