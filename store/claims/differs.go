package claims

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/tables/compare"
	"witnessmark/tables/image"
)

// differs names the first field in which an action is not what is right; nil where all are. Sealed
// texts are not in an action, so that nothing private is named.
func differs(at string, said, right protoreflect.Message) error {
	fields := said.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		a, b := said.Get(f), right.Get(f)
		if said.Has(f) == right.Has(f) && a.Equal(b) {
			continue
		}
		name := strings.TrimPrefix(at+"."+string(f.Name()), ".")
		if f.Message() != nil && !f.IsMap() && !f.IsList() && said.Has(f) && right.Has(f) {
			return differs(name, a.Message(), b.Message())
		}
		return refuse(ReasonClaim, name, shown(f, right), "%s: the action says %s; right is %s", name, shown(f, said), shown(f, right))
	}
	return nil
}

// shown is a field's value on one short line.
func shown(f protoreflect.FieldDescriptor, m protoreflect.Message) string {
	v := m.Get(f)
	var parts []string
	switch {
	case f.IsMap():
		v.Map().Range(func(k protoreflect.MapKey, v protoreflect.Value) bool {
			parts = append(parts, fmt.Sprintf("%s=%s", k, v))
			return true
		})
		slices.Sort(parts)
	case f.IsList():
		for i := range v.List().Len() {
			parts = append(parts, v.List().Get(i).String())
		}
	case m.Has(f) || f.Kind() == protoreflect.BoolKind || f.Message() == nil && f.Kind() != protoreflect.StringKind:
		parts = append(parts, v.String())
	}
	if len(parts) == 0 {
		return "nothing"
	}
	return oneLine(fmt.Errorf("%.200s", strings.Join(parts, ", ")))
}

// otherEncodings accepts reports that the action names by another hash than ours if they say the
// same: no protobuf library promises the same bytes in its next version.
func (m *Made) otherEncodings(src Source, a, right *recordv1.Action) error {
	said := reportsOf(a)
	for i, r := range reportsOf(right) {
		if r.sha == nil || said[i].sha == nil || *r.sha == *said[i].sha || *r.sha == "" || *said[i].sha == "" {
			continue
		}
		ours, sha := image.Hash(*r.sha), image.Hash(*said[i].sha)
		bytes, err := sameReport(src, r.at, sha, m.Reports[ours])
		if err != nil {
			return err
		}
		delete(m.Reports, ours)
		m.Reports[sha], *r.sha = bytes, string(sha)
	}
	return nil
}

// sameReport reads a report that should say what ours does.
func sameReport(src Source, at string, sha image.Hash, ours []byte) ([]byte, error) {
	other := refuse(ReasonReport, at, string(image.HashOf(ours)), "%s: the report is not what comparing these images gives", at)
	if _, err := image.ParseHash(string(sha)); err != nil {
		return nil, other
	}
	b, err := src.Blob(at, sha)
	if errors.Is(err, store.ErrNotFound) {
		return nil, other
	}
	if err != nil {
		return nil, err
	}
	var right, theirs calibrationv1.Report
	if len(b) > 2*len(ours)+64<<10 || proto.Unmarshal(b, &theirs) != nil {
		return nil, other
	}
	if n := theirs.GetSemantics(); n != compare.Semantics {
		return nil, refuse(ReasonUpgrade, at, fmt.Sprint(compare.Semantics),
			"%s: the report is by rules of comparing number %d, and this program has number %d: the older of the two must be upgraded", at, n, compare.Semantics)
	}
	if err := proto.Unmarshal(ours, &right); err != nil {
		return nil, err
	}
	if !proto.Equal(&right, &theirs) {
		return nil, other
	}
	return b, nil
}

type namedReport struct {
	at  string
	sha *string // nil where the message that holds it is missing
}

// reportsOf are the fields of an action that name reports, always as many for one kind.
func reportsOf(a *recordv1.Action) []namedReport {
	judged := func(at string, j *recordv1.Judgement) namedReport {
		if j == nil {
			return namedReport{}
		}
		return namedReport{at + ".report_sha256", &j.ReportSha256}
	}
	switch b := a.GetBody().(type) {
	case *recordv1.Action_Read:
		out := []namedReport{judged("read.check", b.Read.GetCheck()), {}}
		if last := b.Read.GetLastKnown(); last != nil {
			out[1] = namedReport{"read.last_known.report_sha256", &last.ReportSha256}
		}
		return out
	case *recordv1.Action_Submission:
		return []namedReport{judged("submission.judgement", b.Submission.GetJudgement())}
	case *recordv1.Action_SignOff:
		return []namedReport{judged("sign_off.judgement", b.SignOff.GetJudgement())}
	case *recordv1.Action_Collect:
		return []namedReport{judged("collect.judgement", b.Collect.GetJudgement())}
	case *recordv1.Action_ReadBack:
		return []namedReport{{"read_back.report_sha256", &b.ReadBack.ReportSha256}}
	}
	return nil
}
