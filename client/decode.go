package client

import (
	"fmt"

	"google.golang.org/grpc/encoding"
	protocodec "google.golang.org/grpc/encoding/proto"
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/proto"

	"witnessmark/store"
	"witnessmark/store/wire"
)

// decode reads a message, unless it would take more than the largest that can be kept.
func decode(b []byte, m proto.Message) error { return wire.Unmarshal(b, m, store.MaxDecoded) }

// counted is gRPC's own codec, by decode.
type counted struct{ encoding.CodecV2 }

func countedCodec() counted { return counted{encoding.GetCodecV2(protocodec.Name)} }

func (counted) Unmarshal(data mem.BufferSlice, v any) error {
	m, ok := v.(proto.Message)
	if !ok {
		return fmt.Errorf("%T is no message", v)
	}
	whole := data.MaterializeToBuffer(mem.DefaultBufferPool())
	defer whole.Free() // nothing that is decoded keeps any of it
	return decode(whole.ReadOnlyData(), m)
}
