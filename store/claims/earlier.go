package claims

import (
	"errors"
	"fmt"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/record"
	"witnessmark/store/wire"
	"witnessmark/tables/compare"
	"witnessmark/tables/image"
)

// Looking back, an entry may be from when programs compared by earlier rules: what it says of its bytes cannot be made
// again. Then its reports are read instead, and it is held to what they say.

// report is a report that a message names, and the verdict and warnings that the message gives, if it does.
type report struct {
	at       string
	sha      image.Hash
	verdict  string
	warnings []string
	judged   bool
}

// reports are those that an action names.
func reports(at string, m protoreflect.Message, visit func(report) error) error {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		name := string(f.Name())
		if at != "" {
			name = at + "." + name
		}
		switch {
		case !m.Has(f) || f.IsMap() || f.IsList():
		case f.Message() != nil:
			if err := reports(name, m.Get(f).Message(), visit); err != nil {
				return err
			}
		case f.Name() == "report_sha256":
			r := report{at: name, sha: image.Hash(m.Get(f).String())}
			if j, ok := m.Interface().(*recordv1.Judgement); ok {
				r.judged, r.verdict, r.warnings = true, j.GetVerdict(), j.GetWarnings()
			}
			if err := visit(r); err != nil {
				return err
			}
		}
	}
	return nil
}

// heard notes by which rules an action's reports were made.
func (p *Past) heard(a *recordv1.Action) {
	_ = reports("", a.ProtoReflect(), func(r report) error {
		var said calibrationv1.Report
		if b, err := p.Blob(r.at, r.sha); err == nil && wire.Unmarshal(b, &said, store.MaxDecoded) == nil {
			p.rules = said.GetSemantics()
		}
		return nil
	})
}

// earlier holds an action to its own reports, which are by earlier rules than this program's, and to its corridor, whose rules
// never change.
func (c *Computer) earlier(p *Past, a *recordv1.Action) (*Made, error) {
	err := reports("", a.ProtoReflect(), func(r report) error {
		b, err := p.Blob(r.at, r.sha)
		if err != nil {
			return err
		}
		var said calibrationv1.Report
		wrong := refuse(ReasonReport, r.at, "", "%s: the report is not what the action says of it", r.at)
		switch {
		case wire.Unmarshal(b, &said, store.MaxDecoded) != nil || said.GetSemantics() >= compare.Semantics:
			return wrong
		case r.judged && (said.GetVerdict() != r.verdict || fmt.Sprint(compare.Warnings(&said)) != fmt.Sprint(r.warnings)):
			return wrong
		}
		return nil
	})
	m := c.making(p)
	if sub := a.GetSubmission(); sub != nil && err == nil {
		err = m.sameCorridor(sub)
	}
	if err != nil {
		return nil, err
	}
	return &Made{Earlier: true, Corridor: m.Corridor}, nil
}

func (m *making) sameCorridor(sub *recordv1.Submit) (err error) {
	if _, err = m.job(sub.GetJob()); err != nil {
		return err
	}
	if m.Candidate, err = m.image("image", sub.GetImage()); err != nil {
		return err
	}
	right := proto.CloneOf(sub)
	if right.Corridor, err = m.inCorridor(sub.GetJob()); err != nil {
		return err
	}
	return m.differs("submission", sub.ProtoReflect(), right.ProtoReflect())
}

// before says whether a refusal may be due to rules that have changed since.
func (p *Past) before(err error) bool {
	var r *record.Refusal
	return p.rules > 0 && p.rules < compare.Semantics && errors.As(err, &r) && !errors.Is(err, ErrErased) && !errors.Is(err, store.ErrNotFound)
}
