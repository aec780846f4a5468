package imported

import (
	"cmp"
	"fmt"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/a2l"
)

func naturally(a, b string) int { return cmp.Or(cmp.Compare(len(a), len(b)), strings.Compare(a, b)) }

func extension(n int64) error {
	return fmt.Errorf("ECU_ADDRESS_EXTENSION %d; allowed: --extension %d, for all of that one alone", n, n)
}

// build makes a table of a characteristic, once.
func (im *importer) build(c *a2l.Characteristic) *built {
	if b := im.built[c.Name]; b != nil {
		return b
	}
	b := &built{at: c.Place, underWay: true}
	im.built[c.Name] = b
	said := len(im.out.Said)
	if b.table, b.why = im.table(c, b); b.why != nil {
		im.out.Said = im.out.Said[:said] // what it was kept without
	}
	b.underWay = false
	return b
}

// axesOf is how many axes a type has; -1 where its dimensions say it.
var axesOf = map[string]int{"VALUE": 0, "CURVE": 1, "MAP": 2, "CUBOID": 3, "CUBE_4": 4, "CUBE_5": 5, "VAL_BLK": -1, "ASCII": -1}

func (im *importer) table(c *a2l.Characteristic, b *built) (*calibrationv1.Table, error) {
	switch criteria, varies := im.m.Variants[c.Name]; {
	case c.Virtual != nil:
		return nil, fmt.Errorf("it is virtual: not in the image, but computed as %.100q", c.Virtual.Text)
	case varies:
		return nil, fmt.Errorf("its address hangs on the variant (%.100s)", strings.Join(criteria, ", "))
	case c.Extension != im.o.Extension:
		return nil, extension(c.Extension)
	case axesOf[c.Type] >= 0 && len(c.Axes) != axesOf[c.Type]:
		return nil, fmt.Errorf("a %s with %d AXIS_DESCR; allowed: %d", c.Type, len(c.Axes), axesOf[c.Type])
	}
	l := im.m.Layouts[c.Layout]
	if l == nil {
		return nil, fmt.Errorf("there is no RECORD_LAYOUT %.100s", c.Layout)
	}
	values := find(l, "FNC_VALUES", -1)
	if values < 0 {
		return nil, fmt.Errorf("record layout %s has no FNC_VALUES", l.Name)
	}
	t := &calibrationv1.Table{Id: im.ids[c.Name], Title: oneLine(c.Title), KnownAs: oneLine(c.Name)}
	if c.Type == "ASCII" {
		return t, im.textOf(t, c, l, values)
	}
	return t, im.grid(t, c, l, values, b)
}

// textOf is a table of characters.
func (im *importer) textOf(t *calibrationv1.Table, c *a2l.Characteristic, l *a2l.Layout, values int) error {
	e := l.Elements[values]
	n, err := product(c.Dims)
	if err != nil {
		return err
	}
	encoding, known := map[string]string{"": "ascii", "UTF8": "utf-8"}[c.Encoding]
	switch {
	case len(c.Dims) == 0 || n == 0:
		return fmt.Errorf("how long the text is is not said; allowed: NUMBER or MATRIX_DIM")
	case !known:
		return fmt.Errorf("ENCODING %.40s is not read; allowed: UTF8", c.Encoding)
	case e.Address != "DIRECT" || dataTypes[e.Type].size != 1:
		return fmt.Errorf("a text of %s %s; allowed: UBYTE DIRECT", e.Type, e.Address)
	}
	rec, err := im.record(l, c.Address, [5]uint64{}, n)
	if err != nil {
		return err
	}
	t.Kind, t.Encoding = "text", encoding
	t.Stored = &calibrationv1.Stored{Address: uint32(rec.at[values]), Length: uint32(n)}
	return nil
}

func product(dims []uint64) (uint64, error) {
	n := uint64(1)
	for _, d := range dims {
		if n *= d; d > maxCells || n > maxCells {
			return 0, fmt.Errorf("more than %d cells", maxCells)
		}
	}
	return n, nil
}
