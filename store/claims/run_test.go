package claims

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// seen is tiny whose boost is a signal too, which runs show.
const seen = tiny + `signals:
  - {id: request, quantity: manifold_pressure, unit: kPa, value: "table('boost')", observed: {channel: manifold_pressure}}
inputs: [{quantity: engine_speed, unit: 1/min, from: 500, to: 5000}]
`

// logged is a run at 2000 1/min.
func logged(boost int) string {
	var b strings.Builder
	b.WriteString("time [s],engine_speed [1/min],manifold_pressure [kPa]\n")
	for i := range 20 {
		fmt.Fprintf(&b, "%.1f,2000,%d\n", float64(i)/10, boost)
	}
	return b.String()
}

func (w *world) run(job uint32, when, file string) *recordv1.Action {
	return &recordv1.Action{Body: &recordv1.Action_Run{Run: &recordv1.AddRun{
		Job: job, When: when, FileSha256: w.put([]byte(file)), ChannelsSha256: w.put([]byte("{}\n")), FileName: w.seal("file_name", "pull.csv"),
	}}}
}

func observedWorld(t *testing.T) *world {
	w := newWorld(t)
	w.do(&recordv1.Action{Body: &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{Revision: w.file(seen)}}})
	w.do(w.open("AB-1", "", ""))
	return w
}

// A run is held against what is known to be in its car; danger counts after a change alone.
func TestARunIsHeldAgainstTheCar(t *testing.T) {
	w := observedWorld(t)
	if made := w.do(w.run(1, "before", logged(110))); made.Run != nil {
		t.Error("held against a car that was never read")
	}
	w.do(w.read(1, w.image(picture("FRAME001", 110)), "FRAME001"))
	for _, c := range []struct {
		when, file, verdict string
		danger              bool
	}{
		{"before", logged(110), "clear", false}, {"before", logged(150), "danger", false}, {"after", logged(110), "clear", false}, {"after", logged(150), "danger", true},
	} {
		a := w.run(1, c.when, c.file)
		made := w.do(a)
		if made.Run == nil || made.Run.Verdict != c.verdict || a.GetRun().GetDanger() != c.danger || a.GetRun().GetCheckSha256() == "" {
			t.Errorf("%s: %v, danger %t", c.when, made.Run, a.GetRun().GetDanger())
		}
	}
	w.do(w.submit(1, w.image(picture("FRAME001", 150))))
	w.do(w.sign(1, 1))
	w.do(w.collect(1, 1))
	w.do(w.readBack(1, w.image(picture("FRAME001", 150)))) // it has 150 now
	a := w.run(1, "after", logged(150))
	if made := w.do(a); made.Run.Verdict != "clear" || a.GetRun().GetDanger() {
		t.Errorf("%v", made.Run)
	}
	w.do(w.readBack(1, w.image(edited(picture("FRAME001", 150), 0x23, 7)))) // and now nobody knows
	if made := w.do(w.run(1, "after", logged(150))); made.Run != nil {
		t.Error("held against what is not known")
	}
}

// A check is what it says, not how its bytes lie.
func TestAnotherEncodingOfACheck(t *testing.T) {
	w := observedWorld(t)
	w.do(w.read(1, w.image(picture("FRAME001", 110)), "FRAME001"))
	w.do(w.run(1, "after", logged(150)))
	e := w.entered[len(w.entered)-1]
	ours := w.blobs[e.action.GetRun().GetCheckSha256()]
	altered := &calibrationv1.RunCheck{}
	w.ok(proto.Unmarshal(ours, altered))
	altered.Findings = nil
	for name, c := range map[string]struct {
		bytes  []byte
		reason string
	}{
		"another encoding": {append(protowire.AppendString(protowire.AppendTag(nil, 8, protowire.BytesType), "clear"), ours...), ""}, // the verdict, twice
		"altered":          {marshalled(t, altered), ReasonReport},
	} {
		a := proto.CloneOf(e.action)
		a.GetRun().CheckSha256 = w.put(c.bytes)
		made, err := w.c.Check(past{w, e.before}, a, e.openings)
		if c.reason != "" {
			if reason, at := refused(t, err); reason != c.reason || at != "run.check_sha256" {
				t.Errorf("%s: %v", name, err)
			}
		} else if err != nil || len(made.Reports) != 1 {
			t.Errorf("%s: %v", name, err)
		} else {
			for _, b := range made.Reports {
				if !bytes.Equal(b, c.bytes) {
					t.Errorf("%s: not kept as it was named", name)
				}
			}
		}
	}
}

// A signal is proven once a run was held against it and did not contradict it.
func TestProvenSignals(t *testing.T) {
	w := observedWorld(t)
	w.do(w.read(1, w.image(picture("FRAME001", 110)), "FRAME001"))
	proven := func(boost byte) bool {
		made := w.do(w.submit(1, w.image(picture("FRAME001", boost))))
		i := slices.IndexFunc(made.Report.Signals, func(s *calibrationv1.SignalReport) bool { return s.Id == "request" })
		return made.Report.Signals[i].Proven
	}
	if proven(120) {
		t.Error("proven without a run")
	}
	w.do(w.run(1, "before", logged(150)))
	if proven(121) {
		t.Error("proven by a run that contradicts it")
	}
	w.do(w.run(1, "before", logged(110)))
	if !proven(122) {
		t.Error("not proven by a run that was held against it")
	}
}

// Limits that ask what a run covers are given the job's newest run, and those from before the change; the judgement names them.
func TestRunsUnderCovers(t *testing.T) {
	w := newWorld(t)
	w.do(&recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: w.file(road +
		"  - {id: covered, severity: warning, select: {tables: [boost]}, covers: {}, reason: Held at the last value beyond., source: test}\n")}}})
	w.do(w.open("AB-1", "", ""))
	w.do(w.read(1, w.image(picture("FRAME001", 110)), "FRAME001"))
	add := func(when, file string) string {
		a := w.run(1, when, file)
		w.do(a)
		return a.GetRun().GetFileSha256()
	}
	found := func(boost byte) (*recordv1.Judgement, string) {
		a := w.submit(1, w.image(picture("FRAME001", boost)))
		made := w.do(a)
		for _, f := range made.Report.GetFindings() {
			if f.GetRule() == "covered" {
				return a.GetSubmission().GetJudgement(), f.GetOrigin()
			}
		}
		return a.GetSubmission().GetJudgement(), ""
	}
	if j, origin := found(120); origin != "" || len(j.GetRunSha256()) != 0 {
		t.Errorf("without a run: %s, %q", origin, j.GetRunSha256())
	}
	before := add("before", run98) // to 5000 1/min, where the axis ends at 4000
	if j, origin := found(121); origin != "inherited" || !slices.Equal(j.GetRunSha256(), []string{before}) || j.GetVerdict() != "clear" && j.GetVerdict() != "notice" {
		t.Errorf("as it was before the change: %q, %s, %q", origin, j.GetVerdict(), j.GetRunSha256())
	}
	after := add("after", strings.Replace(run98, "5000", "7000", 1))
	if j, origin := found(122); origin != "introduced" || !slices.Equal(j.GetRunSha256(), []string{before, after}) || j.GetVerdict() != "warning" {
		t.Errorf("further out after it: %q, %s, %q", origin, j.GetVerdict(), j.GetRunSha256())
	}
}
