package server

import (
	"strings"
	"testing"

	"google.golang.org/grpc/codes"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// TestRunsAreRead: a run that cannot be read enters nothing, even from a client that did not look.
func TestRunsAreRead(t *testing.T) {
	b := newBench(t)
	b.must("technician", b.openJob("AB 12 CD", ""))
	const good = "time [s],engine_speed [1/min],torque [N.m]\n0,1500,200\n0.1,1510,201\n"
	for _, c := range []struct{ name, file, channels, says string }{
		{"no number", strings.Replace(good, "1510", "fast", 1), "{}", "the run:3: column engine_speed"},
		{"backwards", strings.Replace(good, "0.1,", "-1,", 1), "{}", "the run:3: column time"},
		{"no header", "0,1500,200\n", "{}", "the run:1"},
		{"an image", "\x00\x01\x02\xff", "{}", "the run"},
		{"a channel file of something else", good, "speeds: []", `the channel file:1: unknown field "speeds"`},
		{"a channel that is not there", good, "channels: [{header: Moment, quantity: torque, unit: N.m}]", "Moment"},
	} {
		t.Run(c.name, func(t *testing.T) {
			before := b.size()
			run := &recordv1.AddRun{Job: 1, When: "before", FileSha256: b.upload("technician", []byte(c.file)), ChannelsSha256: b.upload("technician", []byte(c.channels))}
			err := b.try("technician", &recordv1.Action{Body: &recordv1.Action_Run{Run: run}})
			wantFault(t, err, codes.FailedPrecondition, "bad-run")
			if !strings.Contains(err.Error(), c.says) {
				t.Errorf("%v does not say %q", err, c.says)
			}
			if b.size() != before {
				t.Error("it is in the ledger all the same")
			}
		})
	}
	run := &recordv1.AddRun{Job: 1, When: "before", FileSha256: b.upload("technician", []byte(good)), ChannelsSha256: b.upload("technician", []byte("{}"))}
	b.must("technician", &recordv1.Action{Body: &recordv1.Action_Run{Run: run}})
}
