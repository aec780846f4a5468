package doubt

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"unicode/utf8"

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
	astray := map[string]bool{}
	for _, f := range r.GetFindings() {
		astray[f.GetTable()] = astray[f.GetTable()] || f.GetRule() == "pointer"
	}
	for _, u := range r.GetUnjudged() {
		if astray[u.GetTable()] {
			continue // told below
		}
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
	d.collisions(im.Bytes)
	d.gaps(im)
	return InOrder(d.all), nil
}

func (d *ofDefinition) pathOf(table string) string { return d.tables[d.lay.ByID[table]] }

// values asks whether what cells and breakpoints hold is usual for their quantities.
func (d *ofDefinition) values(im *image.Image) {
	asked := map[*definition.Axis]bool{}
	axis := func(declared, a *definition.Axis) {
		if asked[declared] {
			return
		}
		asked[declared] = true
		points := a.Breakpoints(im.Bytes)
		d.order(declared, points)
		d.ask(d.axes[declared], "axis "+a.ID, a.Quantity, a.Unit, points)
	}
	used := map[*definition.Axis]bool{}
	for _, t := range d.lay.Tables {
		got := surface.Decode(t, im.Bytes)
		for k, a := range t.Axes {
			used[a] = true
			if got.Astray == nil && d.known(im, got.Table, got.Table.Axes[k].Cells) {
				axis(a, got.Table.Axes[k])
			}
		}
		switch {
		case got.Astray != nil || !d.lay.Holds(im, t):
		case t.Kind == "text":
			d.text(t, got)
		case got.Values == nil:
			d.labels(t, got.Bits)
		case t.Role != "correction":
			d.ask(d.tables[t], "table "+t.ID, t.Quantity, t.Unit, got.Values)
		}
	}
	for _, a := range d.lay.Axes {
		if !used[a] && !d.pointed[a] && d.known(im, nil, a.Cells) {
			axis(a, a)
		}
	}
}

// known says whether an image holds cells, and what tells where the table lies, as it lies there.
func (d *ofDefinition) known(im *image.Image, t *definition.Table, c *definition.Cells) bool {
	needs := []*definition.Cells{}
	if t != nil {
		needs = t.Directions()
	}
	if c != nil {
		needs = append(needs, c)
	}
	gaps := image.Join(d.lay.Space.Offsets(im.Gaps()))
	return !slices.ContainsFunc(needs, func(c *definition.Cells) bool {
		return len(image.Common(gaps, []image.Range{c.Extent()})) > 0
	})
}

// text asks whether a text is one of its encoding.
func (d *ofDefinition) text(t *definition.Table, got *surface.Decoded) {
	raw := bytes.TrimRight(got.TextBits, "\x00 ")
	control := func(r rune) bool { return r < ' ' || r == 0x7F || r > 0x7F && !t.UTF8 }
	if name := t.Source.GetEncoding(); bytes.ContainsFunc(raw, control) || !utf8.Valid(raw) {
		d.say(severity.Caution, d.tables[t], "", "table %s holds %.60q, which is no text in %s", t.ID, got.Text, name)
	}
}

func (d *ofDefinition) ask(path, what, quantity, unit string, values []float64) {
	u, ok := usualOf(quantity, unit)
	if !ok {
		return
	}
	n, low, high := 0, math.Inf(1), math.Inf(-1)
	for _, v := range values {
		if math.IsNaN(v) { // or a code that is no value; what is no number is told elsewhere
			continue
		}
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
	blocks := d.blocks(im.Bytes)
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
	for _, r := range d.inRegions(image.Minus(within(d.lay, blocks), image.Join(append(covered, d.lay.Volatile...)))) {
		if filling(im.Bytes[r.Start:r.End]) {
			continue
		}
		total += r.End - r.Start
		g := gap{Range: r}
		for k < len(blocks) && blocks[k].cells.Extent().Start < r.Start {
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

// inRegions cuts ranges of offsets where a region ends.
func (d *ofDefinition) inRegions(all []image.Range) (out []image.Range) {
	for _, r := range d.lay.Space.Addresses(all) {
		start, _ := d.lay.Space.Offset(r.Start)
		out = append(out, image.Range{Start: start, End: start + r.End - r.Start})
	}
	return out
}

// within is where tables are to be expected: the calibration, or where no segment says so what lies between
// the first and the last block.
func within(lay *definition.Layout, blocks []block) (all []image.Range) {
	for _, s := range lay.Segments {
		if s.Content == "calibration" {
			all = append(all, s.Range)
		}
	}
	if all == nil && len(blocks) > 0 {
		between := image.Range{Start: blocks[0].cells.Extent().Start}
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
