package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"

	"witnessmark/client/sheet"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/said"
	"witnessmark/tables/surface"
)

func newInspectCommand(a *app) *cobra.Command {
	var defPath, fileFormat, table string
	c := &cobra.Command{
		Use:   "inspect IMAGE --definition FILE [--table ID]",
		Short: "Show what an image file holds (needs no server)",
		Args:  takes(1),
		RunE: func(_ *cobra.Command, args []string) error {
			lay, err := loadDefinition(defPath)
			if err != nil {
				return err
			}
			im, err := loadImage(args[0], fileFormat, lay)
			if err != nil {
				return err
			}
			tables := lay.Tables
			if table != "" {
				t := lay.ByID[table]
				if t == nil {
					return fmt.Errorf("--table %s: definition %s has no such table; it has %s", table, lay.Name, tableNames(lay))
				}
				tables = []*definition.Table{t}
			}
			report, err := compare.Check(im, lay, nil, nil)
			if err != nil {
				return err
			}
			in := &calibrationv1.Inspection{Image: report.Candidate, Definition: report.Definition,
				Identity: report.Identity, Checksums: report.Checksums, Holes: report.Holes}
			for _, t := range tables {
				in.Tables = append(in.Tables, tableValues(t, im.Bytes))
			}
			return a.print(in, func(w io.Writer) error {
				if table != "" {
					return sheet.WriteTable(w, tables[0], im.Bytes, max(a.width(), 100))
				}
				return writeInspection(w, in)
			})
		},
	}
	c.Flags().StringVar(&defPath, "definition", "", "definition file (required)")
	c.Flags().StringVar(&fileFormat, "file-format", "", formatUsage+"; "+byContent)
	c.Flags().StringVar(&table, "table", "", "show one table whole")
	_ = c.MarkFlagRequired("definition")
	return c
}

// tableValues decodes a whole table.
func tableValues(t *definition.Table, img []byte) *calibrationv1.TableValues {
	d := surface.Decode(t, img)
	out := &calibrationv1.TableValues{Id: t.ID, Title: t.Title, Kind: t.Kind, Quantity: t.Quantity, Unit: t.Unit, UnitText: t.UnitText, KnownAs: t.KnownAs}
	switch {
	case d.Astray != nil:
		out.Problem = d.Astray.Problem
		return out
	case t.Kind == "text":
		out.Text = proto.String(d.Text)
		return out
	}
	out.X, out.Y = points(t.X, d.X), points(t.Y, d.Y)
	for _, s := range d.Slices {
		slice := &calibrationv1.BlockSlice{Values: rows(s)}
		for _, at := range s.Table.Slice.At {
			slice.At = append(slice.At, said.Point(at.Axis, at.Point))
		}
		out.Blocks = append(out.Blocks, slice)
	}
	if d.Slices == nil {
		out.Values = rows(d)
	}
	return out
}

// rows are the cells of one x and y grid.
func rows(d *surface.Decoded) []*structpb.ListValue {
	out := make([]*structpb.ListValue, d.NY)
	for r := range out {
		out[r] = &structpb.ListValue{}
		for c := range d.NX {
			out[r].Values = append(out[r].Values, said.Cell(d, r*d.NX+c))
		}
	}
	return out
}

// points are breakpoints as stored, or their labels.
func points(a *definition.Axis, vs []float64) []*structpb.Value {
	out := make([]*structpb.Value, len(vs))
	for i, v := range vs {
		out[i] = said.Point(a, v)
	}
	return out
}

func writeInspection(w io.Writer, in *calibrationv1.Inspection) error {
	fmt.Fprintf(w, "image       sha256 %s, %d bytes\ndefinition  %s\n", in.Image.Sha256, in.Image.Size, in.Definition.Name)
	for _, f := range in.Identity {
		text := "private, not shown"
		if f.Candidate != nil {
			text = *f.Candidate
		}
		fmt.Fprintf(w, "identity    %s: %s\n", f.Id, text)
	}
	for _, c := range in.Checksums {
		state := "right"
		if !c.CandidateOk {
			state = "wrong: stored " + c.Stored + ", computed " + c.Computed
		}
		fmt.Fprintf(w, "checksum    %s: %s\n", c.Id, state)
	}
	for _, g := range in.Holes {
		fmt.Fprintf(w, "hole        %s to %s, not known\n", g.Start, g.End)
	}
	fmt.Fprintln(w)
	tw := tabwriter.NewWriter(w, 0, 8, 2, ' ', 0)
	fmt.Fprintln(tw, "TABLE\tKIND\tSIZE\tUNIT\tLEAST\tGREATEST\tTITLE")
	for _, t := range in.Tables {
		lo, hi := extremes(t)
		if t.Problem != "" {
			lo = "not read: " + t.Problem
		}
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", t.Id, t.Kind, size(t), t.Unit+t.UnitText, lo, hi, t.Title)
	}
	return tw.Flush()
}

func size(t *calibrationv1.TableValues) string {
	grid, slices := t.Values, ""
	if len(t.Blocks) > 0 {
		grid, slices = t.Blocks[0].Values, fmt.Sprintf(" × %d", len(t.Blocks))
	}
	switch {
	case t.Problem != "":
		return "?"
	case t.Text != nil:
		return fmt.Sprint(len(*t.Text))
	case t.Kind == "scalar":
		return "1"
	}
	return fmt.Sprintf("%d × %d%s", len(grid[0].Values), len(grid), slices)
}

// extremes are the least and greatest value as text; of labels, the labels that occur, of a text the text itself.
func extremes(t *calibrationv1.TableValues) (lo, hi string) {
	if t.Text != nil {
		return strconv.Quote(*t.Text), ""
	}
	all := t.Values
	for _, b := range t.Blocks {
		all = append(all, b.Values...)
	}
	least, greatest := math.Inf(1), math.Inf(-1)
	var words []string
	for _, row := range all {
		for _, v := range row.Values {
			switch v := v.Kind.(type) {
			case *structpb.Value_StringValue:
				if !slices.Contains(words, v.StringValue) {
					words = append(words, v.StringValue)
				}
			case *structpb.Value_NumberValue:
				least, greatest = min(least, v.NumberValue), max(greatest, v.NumberValue)
			}
		}
	}
	switch {
	case len(words) > 0:
		return strings.Join(words, " "), ""
	case least > greatest:
		return "—", "—"
	}
	return fmt.Sprintf("%.6g", least), fmt.Sprintf("%.6g", greatest)
}

// tableNames lists a layout's tables for an error.
func tableNames(lay *definition.Layout) string {
	ids := make([]string, len(lay.Tables))
	for i, t := range lay.Tables {
		ids[i] = t.ID
	}
	return strings.Join(ids, ", ")
}
