package said

import (
	"math"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/types/known/structpb"
)

// JSON has no number for what is not finite; protobuf's own mapping of doubles writes these three words.
func TestNumbersThroughJSON(t *testing.T) {
	for v, want := range map[float64]string{1.5: "1.5", math.NaN(): `"NaN"`, math.Inf(1): `"Infinity"`, math.Inf(-1): `"-Infinity"`} {
		text, err := protojson.Marshal(Number(v))
		again := &structpb.Value{}
		if err != nil || string(text) != want || protojson.Unmarshal(text, again) != nil {
			t.Errorf("%v: %s, %v", v, text, err)
		}
		if got, ok := NumberIn(again); !ok || math.Float64bits(got) != math.Float64bits(v) && !(got != got && v != v) {
			t.Errorf("%v came back as %v, %v", v, got, ok)
		}
	}
	for _, v := range []*structpb.Value{structpb.NewStringValue("third"), NumberOr(1, true), nil} {
		if n, ok := NumberIn(v); ok {
			t.Errorf("%v is the number %v", v, n)
		}
	}
}
