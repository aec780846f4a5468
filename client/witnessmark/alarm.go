package main

import (
	"fmt"
	"time"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// inForce are the alarms that count now, by this machine's clock.
func inForce(alarms []*recordv1.Alarm) []*recordv1.Alarm { return record.Due(alarms, time.Now()) }

func alarmText(al *recordv1.Alarm) string {
	return fmt.Sprintf("ALARM %s %s: %s", al.GetAbout(), al.GetAlarm(), client.OneLine(al.GetSays()))
}

// raised says at once which alarms an entry raised: then the answer is no.
func (a *app) raised(c *client.Client, entry uint32) error {
	alarms, err := c.AlarmsNow(0)
	if err != nil {
		return err
	}
	for _, al := range alarms {
		if al.Entry != uint64(entry) {
			continue
		}
		a.saidNo = true
		if a.json() {
			a.jsonLine(al)
		} else {
			a.say(fmt.Sprintf("ALARM %s %s: %s", al.About, al.Alarm, al.Says))
		}
	}
	return nil
}
