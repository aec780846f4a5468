package claims

import (
	"testing"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
)

func (w *world) reportOf(j *recordv1.Judgement) *calibrationv1.Report {
	r := &calibrationv1.Report{}
	w.ok(proto.Unmarshal(w.blobs[j.GetReportSha256()], r))
	return r
}

// An entry from before this program's rules of comparing is held to its own report when it is looked back at, and to nothing
// less; one that comes in now is refused.
func TestEarlierRules(t *testing.T) {
	w := story(t)
	e := w.entered[4]
	ours := w.reportOf(e.action.GetSubmission().GetJudgement())
	made := func(semantics uint32, change func(*recordv1.Judgement)) *recordv1.Action {
		r := proto.CloneOf(ours)
		r.Semantics, r.Bytes.Differing = semantics, r.Bytes.Differing+1 // as other rules would have it
		a := proto.CloneOf(e.action)
		j := a.GetSubmission().GetJudgement()
		j.ReportSha256 = w.put(marshalled(t, r))
		change(j)
		return a
	}
	lookBack := func(a *recordv1.Action) (out *Made, err error) {
		var p *Past
		w.ok(record.View(e.before, func(s *record.State) error { p = LookBack(past{w, e.before}, s); return nil }))
		p.Next(a)
		return w.c.Check(p, a, e.openings)
	}
	same := func(*recordv1.Judgement) {}
	if out, err := lookBack(e.action); err != nil || out.Earlier {
		t.Errorf("by our own rules: %v", err)
	}
	if out, err := lookBack(made(compare.Semantics-1, same)); err != nil || !out.Earlier {
		t.Errorf("by earlier rules: %v", err)
	}
	for name, change := range map[string]func(*recordv1.Judgement){
		"another verdict": func(j *recordv1.Judgement) { j.Verdict = "danger" },
		"no warnings":     func(j *recordv1.Judgement) { j.Warnings = []string{"high:nothing"} },
	} {
		_, err := lookBack(made(compare.Semantics-1, change))
		if reason, at := refused(t, err); reason != ReasonReport || at != "submission.judgement.report_sha256" {
			t.Errorf("%s: %v", name, err)
		}
	}
	_, err := lookBack(made(compare.Semantics+1, same))
	if reason, _ := refused(t, err); reason != ReasonUpgrade {
		t.Errorf("by later rules: %v", err)
	}
	a := made(compare.Semantics-1, same)
	_, err = w.c.Check(past{w, e.before}, a, e.openings)
	if reason, _ := refused(t, err); reason != ReasonUpgrade {
		t.Errorf("coming in now: %v", err)
	}
}
