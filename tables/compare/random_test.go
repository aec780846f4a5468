package compare

import (
	"fmt"
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed/changedtest"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
)

// Random definitions: small images in which tables, axes and identity fields lie anywhere, also on
// top of each other, and sums and volatile ranges in a tail of their own.
const (
	randomSize = 200
	randomTail = 160
)

// randomUnits convert into each other, but for the last one.
var randomUnits = []string{"1", "1", "%", "V"}

var storedTypes = []string{"u8", "s8", "u16", "s16", "u24", "s24", "u32", "s32", "u64", "s64", "f32", "f64"}

func sizeOf(kind string) int {
	var bits int
	if _, err := fmt.Sscanf(kind[1:], "%d", &bits); err != nil {
		panic(err)
	}
	return bits / 8
}

func drawStored(t *rapid.T, label string) *calibrationv1.Stored {
	kind := rapid.SampledFrom(storedTypes).Draw(t, label+" type")
	s := &calibrationv1.Stored{Type: kind, ByteOrder: rapid.SampledFrom([]string{"", "big", "little"}).Draw(t, label+" order")}
	if kind[0] == 's' && rapid.Bool().Draw(t, label+" magnitude") {
		s.Sign = "magnitude"
	}
	bits := 8 * sizeOf(kind)
	if kind[0] != 'f' && rapid.IntRange(0, 3).Draw(t, label+" masked") == 0 {
		low := rapid.IntRange(0, bits-1).Draw(t, label+" low")
		width := rapid.IntRange(1, bits-low).Draw(t, label+" width")
		s.Mask = proto.Uint64((^uint64(0) >> (64 - width)) << low)
	}
	if rapid.IntRange(0, 3).Draw(t, label+" strided") == 0 {
		s.Stride = proto.Uint32(uint32(sizeOf(kind) + rapid.IntRange(0, 2).Draw(t, label+" pad")))
	}
	return s
}

func drawConversion(t *rapid.T, label string, labels bool) *calibrationv1.Conversion {
	switch rapid.IntRange(0, 5).Draw(t, label+" conversion") {
	case 0:
		return nil
	case 1:
		return &calibrationv1.Conversion{Rational: &calibrationv1.Rational{Num: []float64{1000, 1, 0}, Den: []float64{0, 1, 0}}}
	case 2:
		if labels {
			return &calibrationv1.Conversion{Labels: map[string]string{"0": "off"}}
		}
	}
	return &calibrationv1.Conversion{
		Factor: proto.Float64(rapid.SampledFrom([]float64{0.75, -0.5, 1, 0.1, 100}).Draw(t, label+" factor")),
		Offset: proto.Float64(rapid.SampledFrom([]float64{0, -40, 0.3}).Draw(t, label+" offset")),
	}
}

// place puts stored cells somewhere in front of the tail; false if they are too many.
func place(t *rapid.T, label string, s *calibrationv1.Stored, cells int) bool {
	stride := sizeOf(s.Type)
	if s.Stride != nil {
		stride = int(*s.Stride)
	}
	room := randomTail - stride*cells
	if room <= 0 {
		return false
	}
	s.Address = 0x400 + uint32(rapid.IntRange(0, room).Draw(t, label+" address"))
	return true
}

func drawAxis(t *rapid.T, label, quantity string) (*calibrationv1.TableAxis, int) {
	a := &calibrationv1.TableAxis{Id: label, Quantity: quantity, Unit: rapid.SampledFrom(randomUnits).Draw(t, label+" unit"), Index: rapid.IntRange(0, 5).Draw(t, label+" index") == 0}
	n := rapid.IntRange(1, 4).Draw(t, label+" count")
	if rapid.IntRange(0, 3).Draw(t, label+" fixed") == 0 {
		for i := range n {
			a.Points = append(a.Points, float64(10*i))
		}
		return a, n
	}
	a.Stored, a.Conversion = drawStored(t, label), drawConversion(t, label, false)
	a.Stored.Count = uint32(n)
	if !place(t, label, a.Stored, n) {
		a.Points, a.Stored, a.Conversion = []float64{1}, nil, nil
		n = 1
	}
	return a, n
}

// drawDefinition is a definition with up to six tables; one that Compile refuses is drawn again.
func drawDefinition(t *rapid.T) *definition.Layout {
	d := &calibrationv1.Definition{Name: "random", Title: "random", ByteOrder: "big",
		Image: &calibrationv1.ImageLayout{Start: 0x400, Size: randomSize, Segments: []*calibrationv1.Segment{
			{Start: 0x400, End: 0x430, Content: "code"}, {Start: 0x430, End: 0x4A0, Content: "calibration"}}},
		Volatile:  []*calibrationv1.VolatileRange{{Start: 0x400 + randomTail, End: 0x400 + randomTail + 8, Title: "learned"}},
		Checksums: []*calibrationv1.Checksum{{Id: "sum", Algorithm: "sum-16", Over: []*calibrationv1.AddressRange{{Start: 0x400, End: 0x480}}, Stored: &calibrationv1.Stored{Address: 0x400 + randomSize - 4, Type: "u32"}}},
	}
	if rapid.Bool().Draw(t, "identified") {
		d.Identity = []*calibrationv1.IdentityField{{Id: "id", Encoding: "hex",
			Address: 0x400 + uint32(rapid.IntRange(0, randomTail-4).Draw(t, "identity")), Length: 4}}
	}
	if rapid.IntRange(0, 3).Draw(t, "unused axis") == 0 {
		d.Axes = []*calibrationv1.Axis{{Id: "unused", Quantity: "q9", Unit: "1", Stored: &calibrationv1.Stored{Address: 0x404, Type: "u8", Count: 3}}}
	}
	for i := range rapid.IntRange(0, 6).Draw(t, "tables") {
		id := fmt.Sprintf("t%d", i)
		table := &calibrationv1.Table{Id: id, Quantity: fmt.Sprintf("q%d", i%3), Unit: rapid.SampledFrom(randomUnits).Draw(t, id+" unit"),
			Stored: drawStored(t, id), Conversion: drawConversion(t, id, true)}
		cells := 1
		if rapid.Bool().Draw(t, id+" has x") {
			var n int
			table.X, n = drawAxis(t, id+".x", "speed")
			cells *= n
			if rapid.Bool().Draw(t, id+" has y") {
				table.Y, n = drawAxis(t, id+".y", rapid.SampledFrom([]string{"load", "q1"}).Draw(t, id+" y"))
				cells *= n
				table.Order = rapid.SampledFrom([]string{"", "y_fastest"}).Draw(t, id+" order")
			}
		}
		if table.Conversion.GetLabels() != nil && table.Stored.Type[0] == 'f' {
			table.Conversion = nil
		}
		table.Copies = rapid.SampledFrom([]string{"", "", "group"}).Draw(t, id+" copies")
		if rapid.IntRange(0, 3).Draw(t, id+" feeds") == 0 {
			table.Feeds = []string{"load"}
		}
		table.Protects = rapid.SampledFrom([]string{"", "lower", "higher"}).Draw(t, id+" protects")
		table.Role = rapid.SampledFrom([]string{"", "", "", "switch"}).Draw(t, id+" role")
		if place(t, id, table.Stored, cells) {
			d.Tables = append(d.Tables, table)
		}
	}
	// The file is only hashed: two definitions that say different things are two files.
	lay, err := definition.Compile("random", []byte(d.String()), d)
	if err != nil {
		t.Fatalf("the generator makes definitions that are refused: %v", err)
	}
	return lay
}

func drawImage(t *rapid.T, label string) []byte {
	return rapid.SliceOfN(rapid.Byte(), randomSize, randomSize).Draw(t, label)
}

// bitOwners is an oracle written the slow way: for each bit of the image, what it belongs to.
func bitOwners(lay *definition.Layout) []kind {
	own := make([]kind, 8*lay.Size)
	bytesOf := func(r image.Range, k kind) {
		for bit := 8 * r.Start; bit < 8*r.End; bit++ {
			own[bit] |= k
		}
	}
	cellsOf := func(c *definition.Cells, k kind) {
		for row := range c.NY {
			for col := range c.NX {
				for bit := range 8 * c.Bytes { // bit of the word, 0 the lowest
					if c.Mask>>bit&1 == 0 {
						continue
					}
					place := bit / 8
					if !c.Little {
						place = c.Bytes - 1 - place
					}
					own[8*(c.At(row, col)+uint64(place))+uint64(bit%8)] |= k
				}
			}
		}
	}
	for _, f := range lay.Identity {
		bytesOf(f.Range, ofIdentity)
	}
	for _, a := range lay.Axes {
		if a.Cells != nil {
			cellsOf(a.Cells, ofTable)
		}
	}
	for _, t := range lay.Tables {
		cellsOf(t.Cells, ofTable)
	}
	for _, c := range lay.Checksums {
		cellsOf(c.Stored, ofChecksum)
	}
	for _, r := range lay.Volatile {
		bytesOf(r, ofVolatile)
	}
	return own
}

// counted is bytes by the oracle.
func counted(lay *definition.Layout, a, b []byte) *calibrationv1.ByteCount {
	return countedBy(bitOwners(lay), a, b)
}

func countedBy(own []kind, a, b []byte) *calibrationv1.ByteCount {
	n := &calibrationv1.ByteCount{}
	for i := range a {
		diff := a[i] ^ b[i]
		if diff == 0 {
			continue
		}
		n.Differing++
		var all kind
		loose := false
		for bit := range 8 {
			if diff>>bit&1 == 1 {
				all |= own[8*i+bit]
				loose = loose || own[8*i+bit] == 0
			}
		}
		switch {
		case loose:
			n.Unmapped++
		case all&ofIdentity != 0:
			n.Identity++
		case all&ofTable != 0:
			n.Mapped++
		case all&ofChecksum != 0:
			n.Checksum++
		default:
			n.Volatile++
		}
	}
	return n
}

func checkCounts(t *rapid.T, lay *definition.Layout, a, b []byte, r *calibrationv1.Report) {
	n := r.Bytes
	if n.Differing != n.Mapped+n.Identity+n.Checksum+n.Volatile+n.Unmapped {
		t.Fatalf("bytes do not add up: %v", n)
	}
	if want := counted(lay, a, b); !proto.Equal(n, want) {
		t.Fatalf("bytes %v, the oracle says %v", n, want)
	}
	var unmapped uint32
	for _, u := range r.Unmapped {
		unmapped += u.Bytes
	}
	if unmapped != n.Unmapped {
		t.Fatalf("ranges hold %d unmapped bytes, bytes says %d", unmapped, n.Unmapped)
	}
}

// quiet says that a report holds nothing that a person would look at.
func quiet(r *calibrationv1.Report) bool {
	for _, c := range r.Checksums {
		if c.GetBaseOk() != c.CandidateOk {
			return false
		}
	}
	return len(r.Tables)+len(r.Findings)+len(r.Unmapped)+len(r.Unjudged) == 0
}

func TestFlipAnyBit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lay, base := drawDefinition(t), drawImage(t, "base")
		own := bitOwners(lay)
		bit := rapid.IntRange(0, 8*randomSize-1).Draw(t, "bit")
		cand := slices.Clone(base)
		cand[bit/8] ^= 1 << (bit % 8)
		r, err := Compare(Input{Base: whole(lay, base), Candidate: whole(lay, cand), Layout: lay})
		if err != nil {
			t.Fatal(err)
		}
		checkCounts(t, lay, base, cand, r)
		if volatile := own[bit] == ofVolatile; quiet(r) && !volatile {
			t.Fatalf("bit %d of %v is seen by nothing: %v", bit, own[bit], r)
		}
	})
}

func TestImageAgainstItself(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lay, base := drawDefinition(t), drawImage(t, "base")
		r, err := Compare(Input{Base: whole(lay, base), Candidate: whole(lay, slices.Clone(base)), Layout: lay})
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Tables)+len(r.Unmapped) != 0 || r.Bytes.Differing != 0 {
			t.Fatalf("an image differs from itself: %v", r)
		}
		for _, f := range r.Findings {
			if f.Rule != "checksum" { // random bytes hold a wrong sum
				t.Fatalf("finding %v", f)
			}
		}
	})
}

// Swapping the images negates every delta and every sum of them.
func TestSwap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lay, a := drawDefinition(t), drawImage(t, "a")
		b := slices.Clone(a)
		for range rapid.IntRange(1, 12).Draw(t, "edits") {
			b[rapid.IntRange(0, randomSize-1).Draw(t, "at")] = rapid.Byte().Draw(t, "to")
		}
		one, err := Compare(Input{Base: whole(lay, a), Candidate: whole(lay, b), Layout: lay})
		if err != nil {
			t.Fatal(err)
		}
		two, err := Compare(Input{Base: whole(lay, b), Candidate: whole(lay, a), Layout: lay})
		if err != nil {
			t.Fatal(err)
		}
		checkCounts(t, lay, a, b, one)
		if !proto.Equal(one.Bytes, two.Bytes) || len(one.Tables) != len(two.Tables) {
			t.Fatalf("%v and %v", one.Bytes, two.Bytes)
		}
		for i, p := range one.Tables {
			q := two.Tables[i]
			if p.Id != q.Id || p.Changed != q.Changed || p.Regridded != q.Regridded || p.AxesChanged != q.AxesChanged {
				t.Fatalf("%v and %v", p, q)
			}
			if p.Delta != nil && (!same(p.Delta.Min, -q.Delta.Max) || !same(p.Delta.Mean, -q.Delta.Mean) || !same(p.Delta.Rms, q.Delta.Rms)) {
				t.Fatalf("deltas of %s: %v and %v", p.Id, p.Delta, q.Delta)
			}
			before := changedtest.Objects(q)
			for k, c := range changedtest.Objects(p) {
				d := before[k]
				if (c.Delta == nil) != (d.Delta == nil) || !same(c.GetDelta(), -d.GetDelta()) || !proto.Equal(c.Base, d.Candidate) {
					t.Fatalf("%s: %v and %v", p.Id, c, d)
				}
			}
		}
	})
}

// anyLimits has a rule of nearly every kind for whatever tables there are.
const anyLimits = `
name: any
title: Rules for random tables
rules:
  - {id: r1, severity: warning, select: {}, reason: r, source: s, range: {unit: "1", min: -10, max: 300}}
  - {id: r2, severity: caution, select: {}, reason: r, source: s, change: {unit: "1", max_up: 4, max_down: 12}}
  - {id: r3, severity: danger, select: {}, reason: r, source: s, frozen: {}}
  - {id: r4, severity: danger, select: {}, reason: r, source: s, monotonic: {of: axes}}
  - {id: r5, severity: notice, select: {}, reason: r, source: s, lump: {unit: "1", max: 6}}
  - id: r6
    severity: warning
    select: {quantity: q1}
    reason: r
    source: s
    envelope: {side: max, unit: "1", x: {quantity: speed, unit: "1", points: [0, 100]}, y: {quantity: load, unit: "1", points: [0, 50]}, values: [[1, 2], [3, 400]]}
`

// compareAnything draws everything and asks only that nothing panics, that the answer is the same
// twice, that bytes add up, and what is unknown or lies far from the image as found by slower reckoning.
func compareAnything(t *rapid.T) {
	lay := drawDefinition(t)
	in := Input{Layout: lay, Base: whole(lay, drawImage(t, "base")), Candidate: whole(lay, drawImage(t, "candidate"))}
	if rapid.Bool().Draw(t, "a few edits") {
		few := slices.Clone(in.Base.Bytes)
		for range rapid.IntRange(0, 8).Draw(t, "edits") {
			few[rapid.IntRange(0, randomTail-1).Draw(t, "at")] = rapid.Byte().Draw(t, "to")
		}
		in.Candidate = whole(lay, few)
	}
	if rapid.IntRange(0, 2).Draw(t, "with holes") == 0 {
		in.Base = drawHoles(t, "base", lay, in.Base.Bytes)
		in.Candidate.Held = in.Base.Held
		if rapid.IntRange(0, 2).Draw(t, "other holes") == 0 {
			in.Candidate = drawHoles(t, "candidate", lay, in.Candidate.Bytes)
		}
	}
	if rapid.Bool().Draw(t, "two definitions") {
		in.CandidateLayout = drawDefinition(t)
	}
	if rapid.Bool().Draw(t, "limits") {
		lim, err := limits.Load("any.yaml", []byte(anyLimits))
		if err != nil {
			t.Fatal(err)
		}
		cand := in.CandidateLayout
		if cand == nil {
			cand = in.Layout
		}
		if lim.Check(cand) == nil {
			in.Limits = lim
		}
	}
	if rapid.Bool().Draw(t, "as found") {
		found := slices.Clone(in.Base.Bytes)
		for i := range found {
			if i%7 == 0 {
				found[i] ^= rapid.Byte().Draw(t, "found")
			}
		}
		in.AsFound = whole(lay, found)
	}
	r, err := Compare(in)
	if in.CandidateLayout == nil {
		checkHoles(t, in, r, err)
	}
	if err != nil {
		return
	}
	again, err := Compare(in)
	if err != nil || !proto.Equal(r, again) {
		t.Fatalf("the same input gives another report: %v", err)
	}
	checkOrder(t, in, r)
	if in.CandidateLayout == nil {
		if !slices.ContainsFunc(r.Unjudged, func(u *calibrationv1.Unjudged) bool { return u.Rule == "" }) { // a table of which bytes are unknown has no report
			checkOverlaps(t, in, r)
		}
		checkAsFound(t, in, r)
		checkGround(t, in, r)
		checkProtection(t, in, r)
		if _, err := Check(in.Base, in.Layout, in.Limits, nil); err != nil {
			t.Fatal(err)
		}
	}
}

func TestCompareAnything(t *testing.T) { rapid.Check(t, compareAnything) }

func FuzzCompare(f *testing.F) {
	for seed := range byte(8) {
		data := make([]byte, 16<<10)
		x := uint32(seed) + 1
		for i := range data {
			x = x*1664525 + 1013904223
			data[i] = byte(x >> 24)
		}
		f.Add(data)
	}
	f.Fuzz(rapid.MakeFuzz(compareAnything))
}
