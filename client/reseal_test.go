package client

import (
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// reseal is an action as another job's, with other commitments.
func reseal(a *recordv1.Action, swap map[string]string, job uint32) *recordv1.Action {
	a = proto.CloneOf(a)
	var walk func(m protoreflect.Message)
	walk = func(m protoreflect.Message) {
		if s, ok := m.Interface().(*recordv1.Sealed); ok {
			s.Commitment = swap[s.GetCommitment()]
			return
		}
		if f := m.Descriptor().Fields().ByName("job"); f != nil && f.Kind() == protoreflect.Uint32Kind && m.Get(f).Uint() == 1 {
			m.Set(f, protoreflect.ValueOfUint32(job))
		}
		m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
			switch {
			case f.IsMap() || f.Message() == nil:
			case f.IsList():
				for i := range v.List().Len() {
					walk(v.List().Get(i).Message())
				}
			default:
				walk(v.Message())
			}
			return true
		})
	}
	walk(a.ProtoReflect())
	return a
}
