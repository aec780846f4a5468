package main

import (
	"fmt"
	"time"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// inForce leaves out alarms that are not yet due, by this machine's clock.
func inForce(alarms []*recordv1.Alarm) (out []*recordv1.Alarm) {
	for _, al := range alarms {
		due, err := time.Parse(time.RFC3339Nano, al.GetDue())
		if al.GetDue() == "" || err != nil || !time.Now().Before(due) {
			out = append(out, al)
		}
	}
	return out
}

func alarmText(al *recordv1.Alarm) string {
	return fmt.Sprintf("ALARM %s %s: %s", al.GetAbout(), al.GetAlarm(), clean(al.GetSays()))
}

// raised says at once which alarms an entry raised: then the answer is no.
func (a *app) raised(c *client.Client, entry uint32) error {
	alarms, err := c.Alarms()
	if err != nil {
		return err
	}
	for _, al := range inForce(alarms) {
		if al.GetSince().GetEntry() == entry {
			a.saidNo = true
			a.say(alarmText(al))
		}
	}
	return nil
}
