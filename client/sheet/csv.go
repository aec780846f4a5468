package sheet

import (
	"encoding/csv"
	"io"
	"strconv"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// WriteCSV prints the changed cells, one a line, under a header line.
func WriteCSV(w io.Writer, r *calibrationv1.Report) error {
	out := csv.NewWriter(w)
	rows := [][]string{{"table", "unit", "row", "column", "x", "y", "base_x", "base_y", "base", "candidate", "delta", "base_raw", "candidate_raw"}}
	for _, t := range r.Tables {
		for _, c := range t.Changes {
			rows = append(rows, []string{t.Id, t.Unit, strconv.Itoa(int(c.Row)), strconv.Itoa(int(c.Column)),
				optional(c.X), optional(c.Y), optional(c.BaseX), optional(c.BaseY),
				plain(c.Base.AsInterface()), plain(c.Candidate.AsInterface()), optional(c.Delta), c.GetBaseRaw(), c.GetCandidateRaw()})
		}
	}
	return out.WriteAll(rows)
}

func optional(v *float64) string {
	if v == nil {
		return ""
	}
	return plain(*v)
}

func plain(v any) string {
	switch v := v.(type) {
	case float64:
		return strconv.FormatFloat(v, 'g', -1, 64)
	case string:
		return v
	}
	return ""
}
