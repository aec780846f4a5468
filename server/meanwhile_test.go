package server

import (
	"testing"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/record"
)

// TestMeanwhile: what others do between the decision about a submission and its bytes is what it is refused for, and not
// that its claims cannot be made any more; and what went in on another way meanwhile is answered as the entry that it is.
func TestMeanwhile(t *testing.T) {
	b := newSmallBench(t)
	newerLimits := func() {
		b.act("lead", &recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{
			Revision: &recordv1.Revision{Sha256: b.have([]byte(smallLimits + "# again\n"))}}}})
	}
	for i, c := range []struct {
		name      string
		meanwhile func(job uint32, again func() *servicev1.Admitted) *servicev1.Admitted
		reason    string
	}{
		{"the read is voided", func(job uint32, _ func() *servicev1.Admitted) *servicev1.Admitted {
			b.act("technician", &recordv1.Action{Body: &recordv1.Action_Void{Void: &recordv1.VoidRead{Job: job, Read: 1, Because: "the wrong car"}}})
			return nil
		}, record.ReasonNoRead},
		{"the job is closed and erased", func(job uint32, _ func() *servicev1.Admitted) *servicev1.Admitted {
			b.closeAndErase(job, true)
			return nil
		}, record.ReasonErased},
		{"it goes in, and is judged by other limits then", func(_ uint32, again func() *servicev1.Admitted) *servicev1.Admitted {
			in := again()
			newerLimits()
			return in
		}, ""},
	} {
		job := uint32(i + 1)
		b.smallJob(job)
		sub, o := b.submit(job, smallMap(job))
		env := b.seal("calibrator", b.filled(sub, o...))
		s := begin(t, b.as("calibrator"))
		s.action(env, o...)
		m, err := s.Recv()
		if err != nil || len(m.GetWanted().GetSha256()) == 0 {
			t.Fatalf("%s: nothing is wanted: %v", c.name, err)
		}
		in := c.meanwhile(job, func() *servicev1.Admitted {
			a, err := b.bring("calibrator", env, o...)
			if err != nil {
				t.Fatal(err)
			}
			return a
		})
		for _, sha := range m.GetWanted().GetSha256() {
			s.blob(b.files[sha])
		}
		m, err = s.Recv()
		switch {
		case c.reason != "" && (err == nil || faultOf(err).GetReason() != c.reason):
			t.Errorf("%s: %v %s, want %s", c.name, err, faultOf(err).GetReason(), c.reason)
		case c.reason == "" && (err != nil || m.GetAdmitted().GetIndex() != in.GetIndex()):
			t.Errorf("%s: entry %d, %v; want entry %d", c.name, m.GetAdmitted().GetIndex(), err, in.GetIndex())
		}
	}
	b.leavesNothing()
}
