package wire

import (
	"bytes"
	"fmt"
	"os"
	"runtime"
	"testing"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/storetest"
)

// takes is how many bytes decoding really allocates.
func takes(t *testing.T, b []byte, m proto.Message) uint64 {
	t.Helper()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	err := proto.Unmarshal(b, m)
	runtime.ReadMemStats(&after)
	if err != nil {
		t.Fatal(err)
	}
	return after.TotalAlloc - before.TotalAlloc
}

// cases are messages whose decoded size is far from the length of their bytes, and honest ones.
func cases() map[string]struct {
	b []byte
	m proto.Message
} {
	type c = struct {
		b []byte
		m proto.Message
	}
	must := func(m proto.Message) []byte { b, _ := proto.Marshal(m); return b }
	openings := &servicev1.SignedAction{Envelope: make([]byte, 4000)}
	for range 20 {
		openings.Openings = append(openings.Openings, &recordv1.Opening{Commitment: "0123456789abcdef", Field: "note", Salt: "00", Text: "the car for the hill"})
	}
	changes := &calibrationv1.TableReport{Id: "boost.target"}
	for range 5000 {
		changes.Changes = append(changes.Changes, &calibrationv1.CellChange{})
	}
	list, _ := structpb.NewList(make([]any, 10_000))
	few := func(n int, m proto.Message) []byte { return bytes.Repeat(must(m), n) }
	const zeros = 100_000
	column := protowire.AppendBytes(protowire.AppendTag(nil, 3, protowire.BytesType), make([]byte, zeros))
	return map[string]c{
		"empty tables":                {bytes.Repeat([]byte{0x72, 0}, 100_000), &calibrationv1.Report{}},
		"empty openings":              {bytes.Repeat([]byte{0x12, 0}, 100_000), &servicev1.SignedAction{}},
		"names meant":                 {bytes.Repeat([]byte{0x32, 0}, 100_000), &servicev1.CompareRequest{}},
		"empty changes":               {must(changes), &calibrationv1.TableReport{}},
		"a list of nulls":             {must(list), &structpb.ListValue{}},
		"openings":                    {must(openings), &servicev1.SignedAction{}},
		"packed zeros":                {column, &calibrationv1.ChangedCells{}},
		"packed words":                {must(&calibrationv1.ChangedCells{Skipped: make([]uint32, zeros), BaseWord: make([]uint32, zeros)}), &calibrationv1.ChangedCells{}},
		"packed doubles":              {must(&calibrationv1.ChangedAxis{Points: make([]float64, 10_000)}), &calibrationv1.ChangedAxis{}},
		"cells in columns":            {must(columns(100)), &calibrationv1.Report{}},
		"numbers one by one":          {few(3000, &calibrationv1.ChangedCells{BaseRaw: []int64{1}}), &calibrationv1.ChangedCells{}},
		"two lists in turn":           {few(3000, &calibrationv1.ChangedCells{BaseRaw: []int64{1}, Base: []float64{1}}), &calibrationv1.ChangedCells{}},
		"a message grown bit by bit":  {few(3000, &calibrationv1.TableReport{ChangedCells: &calibrationv1.ChangedCells{BaseRaw: []int64{1}}}), &calibrationv1.TableReport{}},
		"numbers that are not packed": {bytes.Repeat([]byte{0x18, 2}, 100_000), &calibrationv1.ChangedCells{}},
		"unknown fields":              {bytes.Repeat([]byte{0xf8, 0x7f, 1}, 100_000), &servicev1.HeadRequest{}},
	}
}

// columns is a report of so many tables in each of which 120 cells changed.
func columns(tables int) *calibrationv1.Report {
	r := &calibrationv1.Report{}
	for i := range tables {
		m := &calibrationv1.ChangedCells{Affine: &calibrationv1.Affine{Factor: 0.5}}
		for _, n := range []int{12, 10} {
			m.Axes = append(m.Axes, &calibrationv1.ChangedAxis{Count: uint32(n), Points: make([]float64, n)})
		}
		for k := range 120 {
			m.BaseRaw, m.Rise = append(m.BaseRaw, int64(k*k*i%65536)), append(m.Rise, int64(k-60))
		}
		r.Tables = append(r.Tables, &calibrationv1.TableReport{Id: fmt.Sprintf("table.%d", i), Kind: "map", Unit: "deg", Cells: 120, Changed: 120, ChangedCells: m})
	}
	return r
}

// TestCost: it is never much less than what decoding allocates.
func TestCost(t *testing.T) {
	for name, c := range cases() {
		got, real := Cost(c.b, c.m.ProtoReflect().Descriptor(), 1<<40), takes(t, c.b, c.m)
		t.Logf("%s: %d bytes, told %d, allocated %d", name, len(c.b), got, real)
		if uint64(got)*2 < real {
			t.Errorf("%s: told %d, and it took %d", name, got, real)
		}
		if few := Cost(c.b, c.m.ProtoReflect().Descriptor(), 1000); few <= 1000 {
			t.Errorf("%s: %d, want more than the 1000 that were allowed", name, few)
		}
	}
}

// TestReportIsToldFairly: a report of 875,000 cells is told what it takes to a quarter more, and decodes within a twentieth of what a client allows;
// so does no message of the same length that grows bit by bit.
func TestReportIsToldFairly(t *testing.T) {
	r := columns(875_000 / 120)
	b, err := proto.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	got, real := Cost(b, r.ProtoReflect().Descriptor(), 1<<40), takes(t, b, &calibrationv1.Report{})
	t.Logf("%d bytes, told %d, allocated %d", len(b), got, real)
	if uint64(got) > real+real/4 || Unmarshal(b, &calibrationv1.Report{}, 32<<20) != nil {
		t.Errorf("a report of %d bytes takes %d, and is told %d", len(b), real, got)
	}
	cell, err := proto.Marshal(&calibrationv1.TableReport{ChangedCells: &calibrationv1.ChangedCells{BaseRaw: []int64{1}}})
	if err != nil {
		t.Fatal(err)
	}
	grown := protowire.AppendBytes(protowire.AppendTag(nil, 14, protowire.BytesType), bytes.Repeat(cell, len(b)/len(cell)))
	if err := Unmarshal(grown, &calibrationv1.Report{}, 512<<20); err == nil {
		t.Error("a table whose cells come one by one was decoded")
	}
}

// TestFieldsAreFew: which fields came is remembered in a word.
func TestFieldsAreFew(t *testing.T) {
	protoregistry.GlobalTypes.RangeMessages(func(m protoreflect.MessageType) bool {
		if n := m.Descriptor().Fields().Len(); n > 64 {
			t.Errorf("%s has %d fields", m.Descriptor().FullName(), n)
		}
		return true
	})
}

// TestHonest: what the demo's people say costs a few times its length.
func TestHonest(t *testing.T) {
	file, err := os.ReadFile("../../testdata/demo/asfound.bin")
	if err != nil {
		t.Fatal(err)
	}
	part := &servicev1.AdmitRequest{Content: &servicev1.AdmitRequest_Part{Part: &servicev1.BlobPart{Data: file}}}
	b, err := proto.Marshal(part)
	if err != nil {
		t.Fatal(err)
	}
	if got := Cost(b, part.ProtoReflect().Descriptor(), 1<<40); got > 2*len(b)+1000 {
		t.Errorf("a part of %d bytes costs %d", len(b), got)
	}
}

// TestDeep: messages in messages end before they cost a stack.
func TestDeep(t *testing.T) {
	inner := []byte{}
	for range 1000 { // a list of a list of …
		value := protowire.AppendBytes(protowire.AppendTag(nil, 6, protowire.BytesType), inner)
		inner = protowire.AppendBytes(protowire.AppendTag(nil, 1, protowire.BytesType), value)
	}
	if got := Cost(inner, (&structpb.ListValue{}).ProtoReflect().Descriptor(), 1<<40); got <= 1<<40 {
		t.Errorf("1000 levels cost %d", got)
	}
}

// TestAnyBytes: whatever comes, it ends, and costs no less than nothing.
func TestAnyBytes(t *testing.T) {
	r := storetest.Rand(t)
	for _, c := range cases() {
		for range 200 {
			b := bytes.Clone(c.b[:min(len(c.b), 2000)])
			for range 1 + r.IntN(20) {
				b[r.IntN(len(b))] = byte(r.Uint32())
			}
			if got := Cost(b[:r.IntN(len(b))], c.m.ProtoReflect().Descriptor(), 1<<30); got < 0 {
				t.Fatalf("it costs %d", got)
			}
		}
	}
}
