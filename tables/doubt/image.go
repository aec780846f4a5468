package doubt

import (
	"fmt"
	"math"
	"slices"

	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/severity"
	"witnessmark/tables/surface"
)

// OfImage is what looks wrong where an image is read by a definition without a fault of its own: as a rule
// an address, a type or a factor of the definition is.
func OfImage(name string, file []byte, lay *definition.Layout, im *image.Image) ([]Doubt, error) {
	d := &ofDefinition{finder: newFinder(name, file, nil), lay: lay}
	d.index()
	r, err := compare.Check(im, lay, nil, nil)
	if err != nil {
		return nil, err
	}
	for _, u := range r.GetUnjudged() {
		d.say(severity.Notice, d.pathOf(u.GetTable()), "", "not looked at: %s", u.GetReason())
	}
	for _, f := range r.GetFindings() {
		if f.GetRule() == "axis-order" {
			continue // of each axis once, below
		}
		level := severity.Caution
		if !severity.Of(f.GetSeverity()).AtLeast(severity.Caution) {
			level = severity.Notice
		}
		what := compare.Key(f)
		if f.GetDetail() != "" {
			what += ": " + f.GetDetail()
		}
		d.say(level, d.pathOf(f.GetTable()), "", "in the image: %s %s", what, f.GetReason())
	}
	d.values(im)
	d.gaps(im)
	return InOrder(d.all), nil
}

func (d *ofDefinition) pathOf(table string) string { return d.tables[d.lay.ByID[table]] }

// values asks whether what cells and breakpoints hold is usual for their quantities.
func (d *ofDefinition) values(im *image.Image) {
	known := func(c *definition.Cells) bool { return c == nil || len(lacks(d.lay, im, c)) == 0 }
	for _, a := range d.lay.Axes {
		if known(a.Cells) {
			d.order(a, a.Breakpoints(im.Bytes))
			d.ask(d.axes[a], "axis "+a.ID, a.Quantity, a.Unit, a.Breakpoints(im.Bytes))
		}
	}
	for _, t := range d.lay.Tables {
		if !known(t.Cells) || t.X != nil && !known(t.X.Cells) || t.Y != nil && !known(t.Y.Cells) {
			continue
		}
		got := surface.Decode(t, im.Bytes)
		if got.Values == nil {
			d.labels(t, got.Bits)
		} else if t.Role != "correction" {
			d.ask(d.tables[t], "table "+t.ID, t.Quantity, t.Unit, got.Values)
		}
	}
}

func lacks(lay *definition.Layout, im *image.Image, c *definition.Cells) []image.Range {
	return image.Common(image.Join(lay.Space.Offsets(im.Gaps())), []image.Range{c.Extent()})
}

func (d *ofDefinition) ask(path, what, quantity, unit string, values []float64) {
	u, ok := usualOf(quantity, unit)
	if !ok {
		return
	}
	n, low, high := 0, math.Inf(1), math.Inf(-1)
	for _, v := range values {
		if v < u.low || v > u.high {
			n++
		}
		low, high = min(low, v), max(high, v)
	}
	if n > 0 {
		d.say(severity.Caution, path, u.String(), "%s holds %.6g to %.6g %s; %d of %d values are far outside what %s usually is", what, low, high, unit, n, len(values), quantity)
	}
}

// order asks whether breakpoints rise or fall; places of an index axis need not.
func (d *ofDefinition) order(a *definition.Axis, points []float64) {
	if wrong := compare.Disordered(points); len(wrong) > 0 && !a.Index {
		i := wrong[0]
		d.say(severity.Caution, d.axes[a], "breakpoints that rise, or fall", "axis %s: %d of %d breakpoints are out of order, the first: %.6g after %.6g", a.ID, len(wrong), len(points), points[i], points[i-1])
	}
}

// labels asks whether each raw value has one.
func (d *ofDefinition) labels(t *definition.Table, bits []uint64) {
	var without []string
	for _, b := range bits {
		raw := t.Cells.Int(b)
		if _, ok := t.Cells.Conv.Labels.Of(raw); !ok && !slices.Contains(without, fmt.Sprint(raw)) {
			without = append(without, fmt.Sprint(raw))
		}
	}
	if len(without) > 0 {
		d.say(severity.Caution, d.tables[t]+".conversion.labels", "", "table %s holds raw %s, for which there is no label", t.ID, some(without))
	}
}

// gaps lists what of the calibration belongs to nothing, and is no filling: where tables may be missing.
func (d *ofDefinition) gaps(im *image.Image) {
	type gap struct {
		image.Range
		after block
	}
	blocks := d.blocks()
	var covered []image.Range
	for _, b := range blocks {
		covered = append(covered, b.cells.Ranges()...)
	}
	for _, f := range d.lay.Identity {
		covered = append(covered, f.Range)
	}
	for _, s := range d.lay.Checksums {
		for _, cells := range s.Owned() {
			covered = append(covered, cells.Extent())
		}
	}
	var all []gap
	total, k := uint64(0), 0
	for _, r := range image.Minus(d.within(), image.Join(append(covered, d.lay.Volatile...))) {
		if filling(im.Bytes[r.Start:r.End]) {
			continue
		}
		total += r.End - r.Start
		g := gap{Range: r}
		for k < len(blocks) && blocks[k].cells.Offset < r.Start {
			k++
		}
		if k > 0 {
			g.after = blocks[k-1]
		}
		all = append(all, g)
	}
	slices.SortStableFunc(all, func(a, b gap) int { return int(b.End-b.Start) - int(a.End-a.Start) })
	for i, g := range all {
		if i == most {
			d.say(severity.Notice, "", "", "%d more stretches belong to nothing; %d bytes in all", len(all)-most, total)
			break
		}
		where := ""
		if g.after.what != "" {
			where = ", after " + g.after.what
		}
		d.say(severity.Notice, g.after.path, "", "0x%x to 0x%x%s: %d bytes belong to nothing", d.lay.Space.Address(g.Start), d.lay.Space.Address(g.End-1)+1, where, g.End-g.Start)
	}
}

// within is where tables are to be expected: the calibration, or where no segment says so what lies between
// the first and the last block.
func (d *ofDefinition) within() (all []image.Range) {
	for _, s := range d.lay.Segments {
		if s.Content == "calibration" {
			all = append(all, s.Range)
		}
	}
	if blocks := d.blocks(); all == nil && len(blocks) > 0 {
		between := image.Range{Start: blocks[0].cells.Offset}
		for _, b := range blocks {
			between.End = max(between.End, b.cells.Extent().End)
		}
		all = append(all, between)
	}
	return all
}

// filling says whether bytes are what empty memory and padding are: all of them 0xFF, or 0.
func filling(b []byte) bool {
	for _, v := range b {
		if v != b[0] {
			return false
		}
	}
	return b[0] == 0xFF || b[0] == 0
}
