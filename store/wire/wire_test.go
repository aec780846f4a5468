package wire

import (
	"bytes"
	"os"
	"runtime"
	"testing"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
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
	return map[string]c{
		"empty tables":    {bytes.Repeat([]byte{0x72, 0}, 100_000), &calibrationv1.Report{}},
		"empty openings":  {bytes.Repeat([]byte{0x12, 0}, 100_000), &servicev1.SignedAction{}},
		"names meant":     {bytes.Repeat([]byte{0x32, 0}, 100_000), &servicev1.CompareRequest{}},
		"empty changes":   {must(changes), &calibrationv1.TableReport{}},
		"a list of nulls": {must(list), &structpb.ListValue{}},
		"openings":        {must(openings), &servicev1.SignedAction{}},
		"unknown fields":  {bytes.Repeat([]byte{0xf8, 0x7f, 1}, 100_000), &servicev1.HeadRequest{}},
	}
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
	for range 10_000 { // a list of a list of …
		value := protowire.AppendBytes(protowire.AppendTag(nil, 6, protowire.BytesType), inner)
		inner = protowire.AppendBytes(protowire.AppendTag(nil, 1, protowire.BytesType), value)
	}
	if got := Cost(inner, (&structpb.ListValue{}).ProtoReflect().Descriptor(), 1<<40); got <= 1<<40 {
		t.Errorf("10,000 levels cost %d", got)
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
