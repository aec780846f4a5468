package claims

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/store"
	"witnessmark/store/wire"
	"witnessmark/tables/compare"
	"witnessmark/tables/image"
)

// differs names the first field in which an action is not what is right; nil where all are. Sealed
// texts are not in an action, so that nothing private is named. A report that the action names by
// another hash is taken as it is if it says the same: no protobuf library promises the same bytes in
// its next version.
func (m *making) differs(at string, said, right protoreflect.Message) error {
	fields := said.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		has, a, b := said.Has(f), said.Get(f), right.Get(f)
		if has == right.Has(f) && a.Equal(b) {
			continue
		}
		name := strings.TrimPrefix(at+"."+string(f.Name()), ".")
		err := refuse(ReasonClaim, name, shown(f, right), "%s: the action says %s; right is %s", name, shown(f, said), shown(f, right))
		switch both := has && right.Has(f); {
		case both && f.IsList() && f.Message() != nil && a.List().Len() == b.List().Len():
			err = m.eachDiffers(name, a.List(), b.List())
		case both && f.Message() != nil && f.Cardinality() != protoreflect.Repeated:
			err = m.differs(name, a.Message(), b.Message())
		case both && f.Name() == "report_sha256":
			err = m.sameReport(name, image.Hash(a.String()), image.Hash(b.String()), &calibrationv1.Report{}, &calibrationv1.Report{})
		case both && f.Name() == "check_sha256":
			err = m.sameReport(name, image.Hash(a.String()), image.Hash(b.String()), &calibrationv1.RunCheck{}, &calibrationv1.RunCheck{})
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// eachDiffers is differs of two lists of messages, of one length.
func (m *making) eachDiffers(at string, said, right protoreflect.List) error {
	for i := range said.Len() {
		if err := m.differs(fmt.Sprintf("%s[%d]", at, i), said.Get(i).Message(), right.Get(i).Message()); err != nil {
			return err
		}
	}
	return nil
}

// shown is a field's value on one short line.
func shown(f protoreflect.FieldDescriptor, m protoreflect.Message) string {
	var parts []string
	switch v := m.Get(f); {
	case f.IsMap():
		v.Map().Range(func(k protoreflect.MapKey, v protoreflect.Value) bool {
			parts = append(parts, k.String()+"="+v.String())
			return true
		})
		slices.Sort(parts)
	case f.IsList() && f.Message() != nil && v.List().Len() > 0:
		parts = append(parts, fmt.Sprintf("%d of them", v.List().Len()))
	case f.IsList():
		for i := range v.List().Len() {
			parts = append(parts, v.List().Get(i).String())
		}
	case m.Has(f) || f.Message() == nil && v.String() != "":
		parts = append(parts, v.String())
	}
	if len(parts) == 0 {
		return "nothing"
	}
	return oneLine(fmt.Errorf("%.200s", strings.Join(parts, ", ")))
}

// sameReport reads the report that the action names, which should say what ours does, and puts its
// bytes in the place of ours. mine and theirs are empty messages of its kind.
func (m *making) sameReport(at string, sha, ours image.Hash, mine, theirs proto.Message) error {
	right := m.Reports[ours]
	other := refuse(ReasonReport, at, string(ours), "%s: the report is not what comparing these images gives; right is %s", at, ours)
	b, err := m.bytes(at, string(sha))
	if errors.Is(err, store.ErrNotFound) {
		return other
	}
	if err != nil {
		return err
	}
	most := 4*wire.Cost(right, theirs.ProtoReflect().Descriptor(), math.MaxInt) + 64<<10
	if len(b) > 2*len(right)+64<<10 || wire.Unmarshal(b, theirs, most) != nil {
		return other
	}
	if r, compared := theirs.(*calibrationv1.Report); compared && r.GetSemantics() != compare.Semantics {
		n := r.GetSemantics()
		return refuse(ReasonUpgrade, at, fmt.Sprint(compare.Semantics),
			"%s: the report is by rules of comparing number %d, and this program has number %d: the older of the two must be upgraded", at, n, compare.Semantics)
	}
	if err := proto.Unmarshal(right, mine); err != nil {
		return err
	}
	if !proto.Equal(mine, theirs) {
		return other
	}
	delete(m.Reports, ours)
	m.Reports[sha] = b
	return nil
}
