package client

import (
	"strings"
	"testing"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// What has to be read back before the next is written: everything, but for a corridor's releases where that is
// asked for, and what was recalled.
func TestFirst(t *testing.T) {
	signed, corridors, next := &recordv1.Submission{Job: 7, Number: 1}, &recordv1.Submission{Job: 7, Number: 2, ByCorridor: 1}, &recordv1.Submission{Job: 7, Number: 3, ByCorridor: 1}
	read := &recordv1.Job{Number: 7, Reads: []*recordv1.Read{{Number: 1, AsFound: true}}}
	for _, c := range []struct {
		what        string
		bay         Bay
		plain, free string // what comes first, without --not-read-back and with it
	}{
		{"nothing was collected", Bay{Release: next}, "", ""},
		{"it was read back", Bay{LastOf: signed, Release: next}, "", ""},
		{"a corridor's after a corridor's", Bay{Owed: true, LastOf: corridors, Release: next}, "7.2 was collected", ""},
		{"a corridor's after one that was signed for", Bay{Owed: true, LastOf: signed, Release: next}, "7.1 was collected", "only what a corridor released"},
		{"a corridor's after the read as found", Bay{Owed: true, Release: next}, "7.read1 was collected", "only what a corridor released"},
		{"one that was signed for after a corridor's", Bay{Owed: true, LastOf: corridors, Release: signed}, "7.2 was collected", "only what a corridor released"},
		{"what was collected is recalled", Bay{Owed: true, LastOf: signed, Release: next, Recalled: &recordv1.Alarm{}}, "", ""},
	} {
		c.bay.Job = read
		for notReadBack, want := range map[bool]string{false: c.plain, true: c.free} {
			if got := c.bay.First(notReadBack); (got == "") != (want == "") || !strings.Contains(got, want) {
				t.Errorf("%s, --not-read-back %v: %q, want %q", c.what, notReadBack, got, want)
			}
		}
	}
}
