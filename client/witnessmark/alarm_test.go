package main

import (
	"testing"
	"time"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// An alarm that has a time counts from then on; one whose time cannot be read counts at once.
func TestAlarmsInForce(t *testing.T) {
	for due, want := range map[string]int{
		"": 1, "tomorrow": 1,
		time.Now().Add(-time.Minute).UTC().Format(time.RFC3339Nano): 1,
		time.Now().Add(time.Hour).UTC().Format(time.RFC3339Nano):    0,
	} {
		if got := inForce([]*recordv1.Alarm{{Alarm: "not-read-back", Due: due}}); len(got) != want {
			t.Errorf("due %q: %d alarms, want %d", due, len(got), want)
		}
	}
}
