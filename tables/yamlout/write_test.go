package yamlout

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/yamldoc"
)

func read(t *testing.T, file []byte, m proto.Message) {
	t.Helper()
	if _, err := yamldoc.Decode("written.yaml", file, m); err != nil {
		t.Fatalf("what was written is refused: %v\n%s", err, file)
	}
}

// What a person reads: short entries on a line, long ones on several, nothing that is not given.
func TestAsPeopleWrite(t *testing.T) {
	expect, factor := "DX1", 0.5
	d := &calibrationv1.Definition{Name: "dx1-1.8t", Title: "Demo: controller", ByteOrder: "big",
		Image:    &calibrationv1.ImageLayout{Regions: []*calibrationv1.Region{{Start: 0x8000_0000, Size: 0x200000}, {Start: 0xaf00_0000, Size: 0x6000}}},
		Identity: []*calibrationv1.IdentityField{{Id: "software", Address: 0x3ff00, Length: 3, Encoding: "ascii", Expect: &expect}},
		Tables: []*calibrationv1.Table{
			{Id: "gear", Title: "", KnownAs: "GEAR[0]", Stored: &calibrationv1.Stored{Address: 0, Type: "u8"}, Conversion: &calibrationv1.Conversion{Labels: map[string]string{"10": "ten", "2": "off", "-1": "rear", "else": "", "3..4": "a"}}},
			{Id: "boost.target", Title: "What the turbo is to reach with the larger compressor wheel", Unit: "1/min", Stored: &calibrationv1.Stored{Address: 0x10100, Type: "u16"},
				Conversion: &calibrationv1.Conversion{Factor: &factor}, X: &calibrationv1.TableAxis{Points: []float64{-1.5, 0, 1e21, 1e-7}}, Y: &calibrationv1.TableAxis{Axis: "load"}},
			{Id: "points", Stored: &calibrationv1.Stored{}, Conversion: &calibrationv1.Conversion{Points: &calibrationv1.PointTable{Raw: []float64{0}, Outside: structpb.NewStringValue("hold")}}},
		}}
	want := `name: dx1-1.8t
title: "Demo: controller"
byte_order: big
image:
  regions:
    - {start: 0x80000000, size: 0x200000}
    - {start: 0xaf000000, size: 0x6000}
identity:
  - {id: software, address: 0x3ff00, length: 3, encoding: ascii, expect: DX1}
tables:
  - {id: gear, known_as: "GEAR[0]", stored: {type: u8}, conversion: {labels: {-1: rear, 2: "off", "3..4": a, 10: ten, else: ""}}}
  - id: boost.target
    title: What the turbo is to reach with the larger compressor wheel
    unit: 1/min
    stored: {address: 0x10100, type: u16}
    conversion: {factor: 0.5}
    x: {points: [-1.5, 0, 1e+21, 1e-07]}
    y: {axis: load}
  - {id: points, stored: {}, conversion: {points: {raw: [0], outside: hold}}}
`
	got := Write(d)
	if string(got) != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	back := &calibrationv1.Definition{}
	read(t, got, back)
	if !proto.Equal(d, back) {
		t.Errorf("it reads back as %v", back)
	}
}

// The demo's files come back as the same messages.
func TestDemoComesBack(t *testing.T) {
	for name, m := range map[string][2]proto.Message{
		"dx1-1.8t.yaml": {&calibrationv1.Definition{}, &calibrationv1.Definition{}}, "dx1-road-98.yaml": {&calibrationv1.Limits{}, &calibrationv1.Limits{}},
	} {
		file, err := os.ReadFile("../../testdata/demo/" + name)
		if err != nil {
			t.Fatal(err)
		}
		read(t, file, m[0])
		read(t, Write(m[0]), m[1])
		if !proto.Equal(m[0], m[1]) {
			t.Errorf("%s comes back as %v", name, m[1])
		}
	}
}

// Any message comes back, and the same message gives the same bytes.
func TestRandomMessagesComeBack(t *testing.T) {
	seed := rand.Uint64()
	defer func() {
		if t.Failed() {
			t.Logf("seed %d", seed)
		}
	}()
	r := &random{rand.New(rand.NewPCG(seed, 0))}
	for range 300 {
		for _, pair := range [][2]proto.Message{{&calibrationv1.Definition{}, &calibrationv1.Definition{}}, {&calibrationv1.Limits{}, &calibrationv1.Limits{}}} {
			r.fill(pair[0].ProtoReflect(), 0)
			file := Write(pair[0])
			read(t, file, pair[1])
			if !proto.Equal(pair[0], pair[1]) {
				t.Fatalf("got %v\nof  %v\n%s", pair[1], pair[0], file)
			}
			if !bytes.Equal(file, Write(pair[1])) {
				t.Fatal("the same message gives other bytes")
			}
		}
	}
}

type random struct{ *rand.Rand }

// texts are those that YAML reads as something else where they stand bare.
var texts = []string{"a", "off", "Yes", "null", "~", "1", "-1", "0x10", "1e5", "1/min", "%", "a: b", "a #b", "- a", "[x]", "{x}", "it's", `"q"`, `back\slash`, "ü°λ", "日本",
	" lead", "trail ", "", "2024-01-01", "1:20", "<<", "=", "!x", "&a", "*a", "a,b", ".5", ".inf", "NaN", "|", ">", "@", "`", "?", "a\tb", "\u00a0x", "kPa{gauge}", "x y z", "-", "---"}

var numbers = []float64{0, math.Copysign(0, -1), 1, -1, 0.1, 1e300, -1e-300, math.MaxFloat64, math.SmallestNonzeroFloat64, 1 << 53, 1e15, 123456789012345680, 1e21}

func (r *random) fill(m protoreflect.Message, depth int) {
	switch v := m.Interface().(type) {
	case *structpb.Value:
		proto.Merge(v, structpb.NewNumberValue(numbers[r.IntN(len(numbers))]))
		return
	case *structpb.ListValue:
		for range r.IntN(3) {
			v.Values = append(v.Values, structpb.NewNumberValue(numbers[r.IntN(len(numbers))]))
		}
		return
	}
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		one := fd.ContainingOneof()
		if r.IntN(3) > 0 || depth > 5 || one != nil && !one.IsSynthetic() && m.WhichOneof(one) != nil {
			continue
		}
		switch {
		case fd.IsMap():
			for range 1 + r.IntN(3) {
				key := protoreflect.ValueOfString(texts[r.IntN(len(texts))]).MapKey()
				v := m.Mutable(fd).Map().NewValue()
				if fd.MapValue().Message() != nil {
					r.fill(v.Message(), depth+1)
				} else {
					v = r.scalar(fd.MapValue())
				}
				m.Mutable(fd).Map().Set(key, v)
			}
		case fd.IsList():
			for range 1 + r.IntN(3) {
				if fd.Message() != nil {
					r.fill(m.Mutable(fd).List().AppendMutable().Message(), depth+1)
				} else {
					m.Mutable(fd).List().Append(r.scalar(fd))
				}
			}
		case fd.Message() != nil:
			r.fill(m.Mutable(fd).Message(), depth+1)
		default:
			m.Set(fd, r.scalar(fd))
		}
	}
}

func (r *random) scalar(fd protoreflect.FieldDescriptor) protoreflect.Value {
	switch fd.Kind() {
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(texts[r.IntN(len(texts))])
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(r.IntN(2) == 0)
	case protoreflect.DoubleKind:
		return protoreflect.ValueOfFloat64(numbers[r.IntN(len(numbers))])
	case protoreflect.Uint32Kind:
		return protoreflect.ValueOfUint32(r.Uint32() >> r.IntN(32))
	case protoreflect.Uint64Kind:
		return protoreflect.ValueOfUint64(r.Uint64() >> r.IntN(64))
	case protoreflect.Int64Kind:
		return protoreflect.ValueOfInt64(int64(r.Uint64()) >> r.IntN(64))
	case protoreflect.Int32Kind:
		return protoreflect.ValueOfInt32(int32(r.Uint32()) >> r.IntN(32))
	}
	panic(fmt.Sprintf("no value for %v", fd.Kind()))
}
