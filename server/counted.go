package server

import (
	"fmt"

	"google.golang.org/grpc/encoding"
	protocodec "google.golang.org/grpc/encoding/proto"
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/proto"

	"witnessmark/store/wire"
)

// counted is gRPC's own codec, but for messages that would take much more memory than they are long:
// those are refused before they are decoded.
type counted struct{}

func own() encoding.CodecV2 { return encoding.GetCodecV2(protocodec.Name) }

func (counted) Name() string                           { return protocodec.Name }
func (counted) Marshal(v any) (mem.BufferSlice, error) { return own().Marshal(v) }

func (counted) Unmarshal(data mem.BufferSlice, v any) error {
	m, ok := v.(proto.Message)
	if !ok {
		return fmt.Errorf("%T is no message", v)
	}
	whole := data.MaterializeToBuffer(mem.DefaultBufferPool())
	defer whole.Free()
	if wire.Cost(whole.ReadOnlyData(), m.ProtoReflect().Descriptor(), maxDecoded) > maxDecoded {
		return fmt.Errorf("the message is too large once it is decoded; allowed are %d bytes", maxDecoded)
	}
	return proto.Unmarshal(whole.ReadOnlyData(), m)
}
