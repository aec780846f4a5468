package limits

import (
	"os"
	"slices"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// The message Rule says which kinds there are; each has its entry, its file and a way to judge.
func TestEveryKindOfRuleHasAnEntry(t *testing.T) {
	fields := (&calibrationv1.Rule{}).ProtoReflect().Descriptor().Oneofs().ByName("kind").Fields()
	var said, entered []string
	for i := range fields.Len() {
		f := fields.Get(i)
		said = append(said, string(f.Name()))
		r := &calibrationv1.Rule{}
		r.ProtoReflect().Set(f, r.ProtoReflect().NewField(f))
		if k := kindOf(r); k == nil || k.name != string(f.Name()) {
			t.Errorf("kindOf a %s: %v", f.Name(), k)
		}
	}
	for _, k := range kinds {
		entered = append(entered, k.name)
		if (k.judge == nil) == (k.alone == nil) {
			t.Errorf("%s is judged by table and alone, or by neither", k.name)
		}
		file := "rule_" + k.name + ".go"
		if k.other != nil {
			file = "rule_against.go"
		}
		if _, err := os.Stat(file); err != nil {
			t.Errorf("%s: %v", k.name, err)
		}
	}
	slices.Sort(said)
	slices.Sort(entered)
	if !slices.Equal(said, entered) {
		t.Errorf("the message has %q, the registry %q", said, entered)
	}
	if k := kindOf(&calibrationv1.Rule{}); k != nil {
		t.Errorf("a rule that says nothing is a %s", k.name)
	}
}
