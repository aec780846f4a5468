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
type counted struct{ encoding.CodecV2 }

func countedCodec() counted { return counted{encoding.GetCodecV2(protocodec.Name)} }

func (counted) Unmarshal(data mem.BufferSlice, v any) error {
	m, ok := v.(proto.Message)
	if !ok {
		return fmt.Errorf("%T is no message", v)
	}
	whole := data.MaterializeToBuffer(mem.DefaultBufferPool())
	defer whole.Free()
	return wire.Unmarshal(whole.ReadOnlyData(), m, maxDecoded)
}
