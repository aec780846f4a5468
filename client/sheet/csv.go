package sheet

import (
	"cmp"
	"encoding/csv"
	"io"
	"slices"
	"strconv"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// CSVText is a text as a cell of a CSV file: one that a spreadsheet would run gets a ' before it, and so does
// one that begins with ' already, so that taking one away gives the text again. Numbers stay numbers.
func CSVText(s string) string {
	if _, err := strconv.ParseFloat(s, 64); err == nil || s == "" || !strings.ContainsAny(s[:1], "=+-@\t\r\n'") && !strings.ContainsRune("＝＋－＠", []rune(s)[0]) {
		return s
	}
	return "'" + s
}

// WriteRows prints rows as CSV, whose texts no spreadsheet runs.
func WriteRows(w io.Writer, rows [][]string) error {
	for _, row := range rows {
		for i := range row {
			row[i] = CSVText(row[i])
		}
	}
	return csv.NewWriter(w).WriteAll(rows)
}

// WriteCSV prints the changed cells, one a line, under a header line. Where a block changed there are two columns more: the
// slice by index, and its breakpoints or labels.
func WriteCSV(w io.Writer, r *calibrationv1.Report) error {
	rows := [][]string{{"table", "unit", "row", "column", "x", "y", "base_x", "base_y", "base", "candidate", "delta", "base_raw", "candidate_raw"}}
	blocks := slices.ContainsFunc(r.Tables, func(t *calibrationv1.TableReport) bool { return t.Kind == "block" })
	if blocks {
		rows[0] = append(rows[0], "slice", "at")
	}
	for _, t := range r.Tables {
		for _, c := range t.Changes {
			row := []string{t.Id, t.Unit, strconv.Itoa(int(c.Row)), strconv.Itoa(int(c.Column)),
				cmp.Or(c.GetXLabel(), optional(c.X)), cmp.Or(c.GetYLabel(), optional(c.Y)), optional(c.BaseX), optional(c.BaseY),
				plain(c.Base.AsInterface()), plain(c.Candidate.AsInterface()), optional(c.Delta), c.GetBaseRaw(), c.GetCandidateRaw()}
			if blocks {
				row = append(row, sliceColumns(c.Slice)...)
			}
			rows = append(rows, row)
		}
	}
	return WriteRows(w, rows)
}

// sliceColumns are the index and the place of a slice, one a further axis, between blanks.
func sliceColumns(s *calibrationv1.Slice) []string {
	var index, at []string
	for i, n := range s.GetIndex() {
		index, at = append(index, strconv.Itoa(int(n))), append(at, plain(s.At[i].AsInterface()))
	}
	return []string{strings.Join(index, " "), strings.Join(at, " ")}
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
