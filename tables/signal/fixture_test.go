package signal

import (
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"

	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// fixture is a definition written out together with an image: all that is stored is f64, little-endian.
type fixture struct {
	tables, rest strings.Builder
	image        []byte
}

func (f *fixture) put(values ...float64) int {
	at := len(f.image)
	for _, v := range values {
		f.image = binary.LittleEndian.AppendUint64(f.image, math.Float64bits(v))
	}
	return at
}

// axis is an axis written out in place; more is what else it says.
func (f *fixture) axis(quantity, unit, more string, points ...float64) string {
	return fmt.Sprintf("{quantity: %s, unit: '%s', stored: {address: %d, type: f64, count: %d}%s}", quantity, unit, f.put(points...), len(points), more)
}

// table adds one; x and y are axes or empty, more what else it says.
func (f *fixture) table(id, unit, x, y, more string, cells ...float64) {
	fmt.Fprintf(&f.tables, "  - {id: %s, quantity: q, unit: '%s', stored: {address: %d, type: f64}%s", id, unit, f.put(cells...), more)
	if x != "" {
		fmt.Fprintf(&f.tables, ", x: %s", x)
	}
	if y != "" {
		fmt.Fprintf(&f.tables, ", y: %s", y)
	}
	f.tables.WriteString("}\n")
}

// signal adds one of quantity and unit; more is what else it says.
func (f *fixture) signal(id, quantity, unit, value, more string) {
	fmt.Fprintf(&f.rest, "  - {id: %s, quantity: %s, unit: '%s', value: %q%s}\n", id, quantity, unit, value, more)
}

func (f *fixture) text(inputs string) string {
	return fmt.Sprintf("name: d\nbyte_order: little\nimage: {size: %d}\ntables:\n%ssignals:\n%sinputs:\n%s", max(len(f.image), 1), f.tables.String(), f.rest.String(), inputs)
}

func (f *fixture) open(t testing.TB, inputs string) (*definition.Layout, *Set) {
	t.Helper()
	lay, err := definition.Load("d.yaml", []byte(f.text(inputs)))
	if err != nil {
		t.Fatalf("%v\n%s", err, f.text(inputs))
	}
	return lay, Open(lay, func(id string) *surface.Decoded { return surface.Decode(lay.ByID[id], f.image) })
}

const engine = `  - {quantity: engine_speed, unit: 1/min, from: 600, to: 7200}
  - {quantity: cylinder_filling, unit: "%", from: 10, to: 200}
  - {quantity: intake_temperature, unit: Cel, from: -20, to: 80}
`

func signalOf(t testing.TB, v *View, id string) *Function {
	t.Helper()
	f, err := v.Signal(id)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// point is a cell of one point, and the point.
func point(values ...float64) (c Box, p Point) {
	for i, v := range values {
		c[i].Lo, c[i].Hi, p[i] = v, v, v
	}
	return c, p
}
