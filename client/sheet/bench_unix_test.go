//go:build unix

package sheet

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/printed"
)

// largeReport is of 4 MiB with 10,000 tables, scalars, curves and maps, each of whose 875,000 cells changed.
func largeReport(t testing.TB) (*calibrationv1.Report, Options) {
	var y strings.Builder
	y.WriteString("name: large\nbyte_order: big\nimage: {start: 0, size: 0x400000}\naxes:\n" +
		"  - {id: rpm, quantity: engine_speed, unit: 1/min, stored: {address: 0, type: u16, count: 12}, conversion: {factor: 0.5}}\n" +
		"  - {id: load, quantity: cylinder_filling, unit: \"%\", stored: {address: 24, type: u8, count: 10}, conversion: {factor: 0.75}}\n" +
		"  - {id: warmth, quantity: coolant_temperature, unit: Cel, stored: {address: 34, type: s8, count: 17}}\ntables:\n")
	base := make([]byte, 4<<20)
	for i := range 12 {
		base[2*i], base[2*i+1] = byte(3*i+3), byte(i)
	}
	for i := range 17 {
		base[24+min(i, 9)], base[34+i] = byte(20*min(i, 9)), byte(8*i-40)
	}
	candidate, at := bytes.Clone(base), 64
	const onMap = ", x: {axis: rpm}, y: {axis: load}}\n"
	for i := range 10_000 {
		bytes, cells := 1, 120
		switch fmt.Fprintf(&y, "  - {id: table.%d, quantity: ignition_advance, unit: deg, stored: {address: %d, type: ", i, at); i % 10 {
		case 0:
			y.WriteString("u16}}\n")
			bytes, cells = 2, 1
		case 1, 2:
			y.WriteString("s16}, conversion: {factor: 0.25}, x: {axis: warmth}}\n")
			bytes, cells = 2, 17
		case 3, 4, 5:
			y.WriteString("u8}, conversion: {factor: 0.75, offset: -24}" + onMap)
		case 6, 7:
			y.WriteString("u16}, conversion: {factor: 0.0078125}" + onMap)
			bytes = 2
		case 8:
			y.WriteString("s8}" + onMap)
		default:
			y.WriteString("u16}, conversion: {factor: 0.023438, offset: -40}" + onMap)
			bytes = 2
		}
		for k := range bytes * cells {
			base[at+k] = byte((i*7 + k*k*3) >> (k % 2))
			candidate[at+k] = base[at+k]
			if k%bytes == bytes-1 {
				candidate[at+k] += byte(1 + (i+k)%9)
			}
		}
		at += bytes * cells
	}
	lay, err := definition.Load("large.yaml", []byte(y.String()))
	if err != nil {
		t.Fatal(err)
	}
	r, err := compare.Compare(compare.Input{Layout: lay, Base: lay.Space.Whole(base), Candidate: lay.Space.Whole(candidate)})
	if err != nil {
		t.Fatal(err)
	}
	return r, Options{Layout: lay, Base: base, Candidate: candidate}
}

// numbersAlone writes the numbers of all changed cells as strconv makes them, each behind a blank.
func numbersAlone(w io.Writer, r *calibrationv1.Report) (cells int, err error) {
	out := bufio.NewWriterSize(w, 64<<10)
	var b []byte
	for _, t := range r.Tables {
		all, err := changed.Of(t)
		if err != nil {
			return 0, err
		}
		cells += all.Len()
		for _, c := range all.All() {
			b = strconv.AppendInt(append(b[:0], ' '), int64(c.Row), 10)
			b = strconv.AppendInt(append(b, ' '), int64(c.Column), 10)
			if x, y := c.X(), c.Y(); x.Given {
				b = strconv.AppendFloat(append(b, ' '), x.Point, 'f', -1, 64)
				if y.Given {
					b = strconv.AppendFloat(append(b, ' '), y.Point, 'f', -1, 64)
				}
			}
			b = strconv.AppendFloat(append(b, ' '), c.Base().Number, 'f', -1, 64)
			b = strconv.AppendFloat(append(b, ' '), c.Candidate().Number, 'f', -1, 64)
			b = strconv.AppendFloat(append(b, ' '), c.Delta, 'f', -1, 64)
			b = c.BaseRaw().Append(append(b, ' '))
			b = c.CandidateRaw().Append(append(b, ' '))
			if _, err := out.Write(b); err != nil {
				return 0, err
			}
		}
	}
	return cells, out.Flush()
}

// BenchmarkReport writes a report to a file. JSON and CSV are told as a multiple of a loop that writes their numbers alone, text
// as a multiple of JSON; at a quarter of the cells, all, and four times as many.
func BenchmarkReport(b *testing.B) {
	r, o := largeReport(b)
	path := filepath.Join(b.TempDir(), "out")
	all := r.Tables
	for _, size := range []struct {
		name   string
		tables []*calibrationv1.TableReport
	}{{"quarter", all[:len(all)/4]}, {"one", all}, {"four", slices.Concat(all, all, all, all)}} {
		part := &calibrationv1.Report{Verdict: r.Verdict, Tables: size.tables}
		write := func(f func(w io.Writer) error) func() {
			return func() {
				file, err := os.Create(path)
				if err == nil {
					err = f(file)
				}
				if err != nil || file.Close() != nil {
					b.Fatal(err)
				}
			}
		}
		b.Run(size.name, func(b *testing.B) {
			cells := 0
			alone := least(write(func(w io.Writer) (err error) { cells, err = numbersAlone(w, part); return err }))
			json := write(func(w io.Writer) error { return printed.JSON(w, part) })
			for b.Loop() {
				json()
			}
			asJSON := least(json)
			asCSV := least(write(func(w io.Writer) error { return printed.CSV(w, part) }))
			asText := least(write(func(w io.Writer) error { return Write(w, part, o) }))
			b.ReportMetric(float64(asJSON)/float64(alone), "json-x-numbers")
			b.ReportMetric(float64(asCSV)/float64(alone), "csv-x-numbers")
			b.ReportMetric(float64(asText)/float64(asJSON), "text-x-json")
			b.ReportMetric(float64(asJSON)/float64(cells), "json-ns/cell")
		})
	}
}

// least is the least time on processors of three runs: where a disk or others are busy, that is no affair of a ratio.
func least(f func()) time.Duration {
	out := time.Hour
	for range 3 {
		start := processors()
		f()
		out = min(out, processors()-start)
	}
	return out
}

// processors is the time that this process has had of processors, in the kernel too.
func processors() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		panic(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
