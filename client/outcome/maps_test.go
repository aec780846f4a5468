package outcome

import (
	"math"
	"slices"
	"strings"
	"testing"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// onRoad is a job of three maps: the read as found, and two of a corridor that starts from the first or the second.
func onRoad(from uint32) *recordv1.Job {
	return &recordv1.Job{Number: 7, Reads: []*recordv1.Read{{Number: 1, AsFound: true}}, Corridors: []*recordv1.Corridor{{Asked: &recordv1.OpenCorridor{From: from}}}}
}

// of is a run of a map.
func of(t *testing.T, number int, when, name, csv string) *client.RecordedRun {
	t.Helper()
	r := recorded(t, number, when, csv)
	r.Entry.Of = name
	return r
}

// Each run stands beside its map, with its peaks above those of the map that the corridor starts from; what was added before
// anybody named maps is of the read as found, or of nothing that is known.
func TestRunsByMap(t *testing.T) {
	runs := []*client.RecordedRun{of(t, 1, "before", "", sweep(1, 0, 0, "torque")), of(t, 2, "after", "7.2", sweep(2, 12, 0, "torque")),
		of(t, 3, "after", "7.3", sweep(3, 20, 0, "torque")), of(t, 4, "after", "", sweep(4, 30, 0, "torque")), of(t, 5, "before", "7.read1", sweep(5, 0.001, 0, "torque")),
		of(t, 6, "after", "7.3", "time [s],engine_speed [1/min]\n0,1500\n1,1600\n")}
	maps, start := MapRuns(onRoad(0), runs, job().Layout)
	if start != "7.read1" {
		t.Error(start)
	}
	for i, want := range []struct {
		name string
		gain float64 // of torque at the peak; 0 where there is none
		why  string
	}{{"7.read1", 0, ""}, {"7.2", 12, ""}, {"7.3", 20, ""}, {"", 30, ""}, {"7.read1", 0, ""}, {"7.3", 0, "no curve: "}} {
		m := maps[i]
		if m.Map != want.name || math.Abs(m.Gain.GetPeakTorque().GetGain()-want.gain) > 0.1 || !strings.HasPrefix(m.Why, want.why) || (m.Why == "") != (want.why == "") {
			t.Errorf("run %d: of %q, gain %v, %q", i+1, m.Map, m.Gain.GetPeakTorque(), m.Why)
		}
	}
	var rows []string
	for _, row := range Columns(maps, start, Metric)[:3] {
		rows = append(rows, strings.Join(row, " | "))
	}
	if got := strings.Join(rows, "\n"); !strings.HasPrefix(got, "map | run | when | peak power | peak torque | gain to 7.read1\n7.read1 | 1 | before | ") ||
		!strings.Contains(rows[1], " | 299.8 N·m at 3600 1/min | the start") || !strings.HasSuffix(rows[2], "+12.0 N·m") {
		t.Error(got)
	}
	if maps, start = MapRuns(onRoad(2), runs, job().Layout); start != "7.2" || maps[0].Gain.GetPeakTorque().GetGain() > -11 || maps[1].Gain != nil {
		t.Errorf("from %s: %v", start, maps[0].Gain)
	}
}

// What a job came to is told by the runs of the map that it is about: another map's, tried on the way, are no part of it.
func TestOtherMapsAreNotCompared(t *testing.T) {
	in := job(of(t, 1, "before", "7.read1", sweep(1, 0, 0, "torque")), of(t, 2, "after", "7.2", sweep(2, 90, 0, "torque")), of(t, 3, "after", "7.3", sweep(3, 20, 0, "torque")))
	in.Job.Reads = onRoad(0).Reads
	o := &Outcome{}
	o.measured(in, "7.3")
	o.compare(in)
	if o.Gain == nil || o.Gain.GetRunsAfter() != 1 || math.Abs(o.Gain.PeakTorque.GetGain()-20) > 0.1 {
		t.Errorf("%+v", o.Gain)
	}
	if len(o.side("after")) != 1 || !strings.HasPrefix(o.Runs[1].About(), "of 7.2, ") || !slices.Contains(o.Notes, "1 of the runs after the change are of other maps than 7.3, and are not compared.") {
		t.Errorf("%d curves, %s, %q", len(o.side("after")), o.Runs[1].About(), o.Notes)
	}
}
