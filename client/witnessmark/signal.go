package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/printed"
	"witnessmark/tables/signal"
	"witnessmark/tables/surface"
)

func newSignalCommand(a *app) *cobra.Command {
	return group("signal", "What the controller computes from the tables of an image (needs no server)", signalShow(a))
}

func signalShow(a *app) *cobra.Command {
	var defPath, fileFormat, sweep string
	var held []string
	c := &cobra.Command{
		Use:   "show IMAGE [SIGNAL…] --definition FILE --at QUANTITY=VALUE,… [--sweep QUANTITY]",
		Short: "Show signals at an operating point, step by step, or along one input as CSV",
		Long: "Show signals of an image file at an operating point, step by step: which table gave what, and where it was\n" +
			"looked up. All signals, or those named. --sweep goes along one input, the others held by --at, and prints\n" +
			"CSV: a row at each breakpoint, two at a step, and nothing where a table was not needed.",
		Args:        cobra.ArbitraryArgs,
		Annotations: csvAllowed,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return fmt.Errorf("no image given: %s", cmd.UseLine())
			}
			at, err := operatingPoint(held)
			if err != nil {
				return err
			}
			lay, im, err := signalImage(args[0], defPath, fileFormat)
			if err != nil {
				return err
			}
			ids, err := signalIDs(lay, args[1:])
			if err != nil {
				return err
			}
			if sweep != "" || a.format == "csv" {
				return a.sweepSignals(lay, im, ids, sweep, at)
			}
			return a.showSignals(lay, im, ids, at)
		},
	}
	f := c.Flags()
	f.StringVar(&defPath, "definition", "", "definition file (required)")
	f.StringVar(&fileFormat, "file-format", "", "raw, ihex or srec; detected by content if left out")
	f.StringSliceVar(&held, "at", nil, "the operating point: engine_speed=3000,cylinder_filling=140, in the units of the definition's inputs")
	f.StringVar(&sweep, "sweep", "", "go along this input, and print CSV")
	return required(c, "definition")
}

func signalImage(path, defPath, fileFormat string) (*definition.Layout, *image.Image, error) {
	lay, err := loadDefinition(defPath)
	if err != nil {
		return nil, nil, err
	}
	im, err := loadImage(path, fileFormat, lay)
	return lay, im, err
}

// operatingPoint reads QUANTITY=VALUE pairs.
func operatingPoint(pairs []string) (map[string]float64, error) {
	at := map[string]float64{}
	for _, p := range pairs {
		quantity, text, ok := strings.Cut(p, "=")
		v, err := strconv.ParseFloat(text, 64)
		if !ok || quantity == "" || err != nil {
			return nil, fmt.Errorf("--at %.80q: allowed are QUANTITY=VALUE, as in engine_speed=3000,cylinder_filling=140", p)
		}
		if _, twice := at[quantity]; twice {
			return nil, fmt.Errorf("--at: %.80s is given twice", quantity)
		}
		at[quantity] = v
	}
	return at, nil
}

// signalIDs are those named, or all.
func signalIDs(lay *definition.Layout, named []string) ([]string, error) {
	var all []string
	for _, s := range lay.Signals {
		all = append(all, s.ID)
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("definition %s has no signals", lay.Name)
	}
	for i, id := range named {
		if !slices.Contains(all, id) {
			return nil, fmt.Errorf("definition %s has no signal %.80q; it has %s", lay.Name, id, strings.Join(all, ", "))
		}
		if slices.Contains(named[:i], id) {
			return nil, fmt.Errorf("signal %s is named twice", id)
		}
	}
	if len(named) > 0 {
		return named, nil
	}
	return all, nil
}

// signalsOf reads an image's signals; a table of which bytes are not known is none.
func signalsOf(lay *definition.Layout, im *image.Image) *signal.View {
	return signal.Open(lay, func(id string) *surface.Decoded {
		if t := lay.ByID[id]; lay.Holds(im, t) {
			return surface.Decode(t, im.Bytes)
		}
		return nil
	}).In(signal.NewSpace(lay))
}

func (a *app) showSignals(lay *definition.Layout, im *image.Image, ids []string, at map[string]float64) error {
	all, err := signalsOf(lay, im).Show(ids, at)
	if err != nil {
		return err
	}
	for i, shown := range all {
		shown.Image = &calibrationv1.ImageRef{Sha256: string(im.SHA256()), Size: uint32(len(im.Bytes))}
		shown.Definition = &calibrationv1.DocumentRef{Name: lay.Name, Sha256: lay.SHA256}
		if i > 0 && !a.json() {
			fmt.Fprintln(a.out)
		}
		if err := a.print(shown, func(w io.Writer) error { return writeSignal(w, lay, shown) }); err != nil {
			return err
		}
	}
	return nil
}

// writeSignal prints one line a step; the last one is the signal.
func writeSignal(w io.Writer, lay *definition.Layout, s *calibrationv1.SignalShown) error {
	var at []string
	for _, in := range lay.SignalByID[s.GetSignal()].Inputs {
		at = append(at, fmt.Sprintf("%s %s", in.Quantity, amount(s.GetInputs()[in.Quantity], in.Unit)))
	}
	if at == nil {
		at = []string{"everywhere"}
	}
	fmt.Fprintf(w, "%s  %s\n", s.GetSignal(), strings.Join(at, ", "))
	var rows [][]string
	for i, step := range s.GetSteps() {
		name := "table " + step.GetTable()
		if step.GetTable() == "" {
			name = "signal " + step.GetSignal()
		}
		if i == len(s.GetSteps())-1 {
			name = "= " + s.GetSignal()
		}
		row := []string{"  " + name, amount(step.GetValue(), step.GetUnit())}
		if t := lay.ByID[step.GetTable()]; t != nil && len(step.GetAt()) > 0 {
			row = append(row, "at "+lookedUp(t, step.GetAt()))
		}
		rows = append(rows, row)
	}
	return columns(w, rows)
}

// lookedUp is where a table was looked up, x first.
func lookedUp(t *definition.Table, at map[string]float64) string {
	var out []string
	for _, axis := range []*definition.Axis{t.X, t.Y} {
		if axis != nil {
			out = append(out, fmt.Sprintf("%s %s", axis.Quantity, amount(at[axis.Quantity], axis.Unit)))
		}
	}
	return strings.Join(out, ", ")
}

// amount is a number and its unit; what is not finite is none.
func amount(v float64, unit string) string {
	if !surface.Finite(v) {
		return "no finite value"
	}
	text := strconv.FormatFloat(v, 'g', 7, 64)
	if unit == "1" || unit == "" {
		return text
	}
	return text + " " + unit
}

func (a *app) sweepSignals(lay *definition.Layout, im *image.Image, ids []string, along string, at map[string]float64) error {
	if a.json() {
		return errors.New("--sweep prints CSV; allowed with it: --format text or csv")
	}
	if along == "" {
		return errors.New("--format csv prints a sweep: name its input with --sweep")
	}
	sweep, err := signalsOf(lay, im).Sweep(ids, along, at)
	if err != nil {
		return err
	}
	rows := [][]string{{header(sweep.Quantity, sweep.Unit)}}
	for _, c := range sweep.Columns {
		rows[0] = append(rows[0], header(c.ID, c.Unit))
	}
	for _, r := range sweep.Rows {
		row := []string{strconv.FormatFloat(r.At, 'g', -1, 64)}
		for i, v := range r.Values {
			text := ""
			if r.Looked[i] {
				text = strconv.FormatFloat(v, 'g', -1, 64)
			}
			row = append(row, text)
		}
		rows = append(rows, row)
	}
	return printed.Rows(a.out, rows)
}

// header is a column's name with its unit, as a run has them.
func header(name, unit string) string {
	if unit == "" {
		return name
	}
	return fmt.Sprintf("%s [%s]", name, unit)
}
