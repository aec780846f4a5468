package client

import (
	"bytes"
	"runtime"
	"strings"
	"testing"

	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/wire"
)

// What says in two bytes that another message follows, millions of times, is refused before it takes any memory;
// whoever holds it is not asked to have a hundred times as much.
func TestDecodeIsCounted(t *testing.T) {
	for name, m := range map[string]proto.Message{"entries of a proof": &recordv1.ProvenList{}, "openings of a proof": &recordv1.OpeningList{},
		"tables of a report": &calibrationv1.Report{}, "entries of a server": &servicev1.EntriesResponse{}} {
		fields := m.ProtoReflect().Descriptor().Fields()
		var b []byte
		for i := range fields.Len() {
			if f := fields.Get(i); b == nil && f.IsList() && f.Message() != nil {
				b = bytes.Repeat(protowire.AppendBytes(protowire.AppendTag(nil, f.Number(), protowire.BytesType), nil), 16<<20)
			}
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		err := decode(b, m)
		through := countedCodec().Unmarshal(mem.BufferSlice{mem.SliceBuffer(b)}, m)
		runtime.ReadMemStats(&after)
		taken := after.TotalAlloc - before.TotalAlloc
		t.Logf("%s: %d MiB in, %d MiB more", name, len(b)>>20, taken>>20)
		if err == nil || through == nil || !strings.Contains(err.Error(), "once it is decoded") || taken > uint64(4*len(b)) {
			t.Errorf("%s: %v, %v, %d MiB", name, err, through, taken>>20)
		}
	}
}

// The largest report that is kept decodes: of numbers that take a byte each, here of a sixteenth of its length.
func TestLargestReportDecodes(t *testing.T) {
	b := make([]byte, store.MaxBlob/16)
	for _, f := range []protowire.Number{3, 15, 14} { // base_raw, changed_cells, tables
		b = protowire.AppendBytes(protowire.AppendTag(nil, f, protowire.BytesType), b)
	}
	r := &calibrationv1.Report{}
	if err := wire.Unmarshal(b, r, store.MaxDecoded/16); err != nil || len(r.GetTables()[0].GetChangedCells().GetBaseRaw()) != store.MaxBlob/16 {
		t.Error(err)
	}
}
