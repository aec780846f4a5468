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
