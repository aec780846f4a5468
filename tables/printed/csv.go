package printed

import (
	"encoding/csv"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed"
	"witnessmark/tables/said"
)

// CSVText is a text as a cell of a CSV file: one that a spreadsheet would run gets a ' before it, and so does
// one that begins with ' already, so that taking one away gives the text again. Numbers stay numbers.
func CSVText(s string) string {
	if _, err := strconv.ParseFloat(s, 64); err == nil || s == "" || !strings.ContainsAny(s[:1], "=+-@\t\r\n'") && !strings.ContainsRune("＝＋－＠", []rune(s)[0]) {
		return s
	}
	return "'" + s
}

// Rows writes rows as CSV, whose texts no spreadsheet runs.
func Rows(w io.Writer, rows [][]string) error {
	for _, row := range rows {
		for i := range row {
			row[i] = CSVText(row[i])
		}
	}
	return csv.NewWriter(w).WriteAll(rows)
}

// CSV writes the changed cells, one a line, under a header line. Where a block changed there are two columns more: the
// slice by index, and its breakpoints or labels. The error names columns of the report that do not fit each other, or is that of w.
func CSV(w io.Writer, r *calibrationv1.Report) error {
	p := &csvPrinter{out: out{w: w}, numbers: NumbersBy(appendCSVNumber), words: words{write: csvText}}
	p.text = append(p.text, "table,unit,row,column,x,y,base_x,base_y,base,candidate,delta,base_raw,candidate_raw"...)
	if p.blocks = slices.ContainsFunc(r.Tables, func(t *calibrationv1.TableReport) bool { return t.Kind == "block" }); p.blocks {
		p.text = append(p.text, ",slice,at"...)
	}
	p.text = append(p.text, '\n')
	for _, t := range r.Tables {
		if p.table(t); p.err != nil {
			break
		}
	}
	p.flush()
	return p.err
}

type csvPrinter struct {
	out
	numbers *Numbers
	words   words
	blocks  bool // the columns of slices are there
}

func (p *csvPrinter) table(t *calibrationv1.TableReport) {
	cells, err := changed.Of(t)
	if err != nil {
		p.err = err
		return
	}
	head, slice, number := p.words.of(t.Id)+","+p.words.of(t.Unit)+",", "", -1
	for _, c := range cells.All() {
		if p.blocks && c.Slice != number {
			slice, number = sliceColumns(cells.Slice(c.Slice)), c.Slice
		}
		p.text = append(p.text, head...)
		p.cell(c)
		p.text = append(append(p.text, slice...), '\n')
		if !p.pass() {
			return
		}
	}
}

// cell writes the columns of every table.
func (p *csvPrinter) cell(c changed.Cell) {
	x, y, b := c.X(), c.Y(), p.text
	b = append(strconv.AppendUint(b, uint64(c.Row), 10), ',')
	b = append(strconv.AppendUint(b, uint64(c.Column), 10), ',')
	b = p.point(b, x)
	b = p.point(b, y)
	b = p.number(b, x.Before, x.Moved)
	b = p.number(b, y.Before, y.Moved)
	b = p.value(b, c.Base())
	b = p.value(b, c.Candidate())
	b = p.number(b, c.Delta, c.HasDelta)
	b = append(c.BaseRaw().Append(b), ',')
	p.text = c.CandidateRaw().Append(b)
}

// point is a breakpoint or its label.
func (p *csvPrinter) point(b []byte, at changed.Place) []byte {
	if at.Named {
		return append(append(b, p.words.of(at.Label)...), ',')
	}
	return p.number(b, at.Point, at.Given)
}

func (p *csvPrinter) number(b []byte, v float64, given bool) []byte {
	if given {
		b = p.numbers.Append(b, v)
	}
	return append(b, ',')
}

// value is what a side holds; nothing where that is a code that is no value.
func (p *csvPrinter) value(b []byte, v changed.Value) []byte {
	switch v.Is {
	case changed.Word:
		b = append(b, p.words.of(v.Word)...)
	case changed.Number:
		b = p.numbers.Append(b, v.Number)
	}
	return append(b, ',')
}

// sliceColumns are the index and the place of a slice, one a further axis, between blanks, each behind a comma.
func sliceColumns(s *calibrationv1.Slice) string {
	var index, at []string
	for i, n := range s.GetIndex() {
		place := s.At[i].GetStringValue()
		if v, number := s.At[i].GetKind().(*structpb.Value_NumberValue); number {
			place = string(appendCSVNumber(nil, v.NumberValue))
		}
		index, at = append(index, strconv.Itoa(int(n))), append(at, place)
	}
	return "," + csvText(strings.Join(index, " ")) + "," + csvText(strings.Join(at, " "))
}

// appendCSVNumber is a number as a cell of a CSV file; what is not finite as messages say it.
func appendCSVNumber(text []byte, v float64) []byte {
	if math.IsInf(v, 0) {
		return append(text, said.Number(v).GetStringValue()...)
	}
	return strconv.AppendFloat(text, v, 'g', -1, 64)
}

// csvText is a text as one field of a line.
func csvText(s string) string {
	if s == "" {
		return ""
	}
	var b strings.Builder
	_ = Rows(&b, [][]string{{s}}) // which ends in a newline; memory takes all
	return b.String()[:b.Len()-1]
}
