package desk

import (
	"errors"
	"net/http"
	"strings"
	"testing"
	"time"

	"witnessmark/client"
)

const neverBackedUp = "No backup of the ledger was ever finished"

// again has a desk ask anew, as after ten minutes.
func (m *reminder) again() {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.asked = time.Time{}
}

// ago has a desk think that it asked so long ago.
func (m *reminder) ago(d time.Duration) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.asked = time.Now().Add(-d)
}

// TestALeadIsRemindedOfBackups, and nobody else; not with each page, and not of one that was made.
func TestALeadIsRemindedOfBackups(t *testing.T) {
	w := newWorld(t)
	lead := w.inside(w.lead.desk)
	lead.shows("/", neverBackedUp, "witnessmark backup --out FILE")
	lead.hides("/jobs", neverBackedUp)
	for _, p := range []*person{w.technician, w.calibrator} {
		w.inside(p.desk).hides("/", neverBackedUp)
	}
	_, err := w.lead.client.Backup(ctx, client.Out{Path: w.path("backup")})
	w.must(err)
	w.lead.desk.backup.ago(0)
	lead.shows("/", neverBackedUp) // as far as it knows
	w.lead.desk.backup.ago(dueEvery)
	lead.hides("/", neverBackedUp)
	w.late.Store(-int64(8 * 24 * time.Hour))
	w.lead.desk.backup.again()
	lead.shows("/", "The last backup of the ledger is 8 days old")
	w.must(w.srv.Stop())
	w.lead.desk.backup.again()
	if status, page := lead.get("/"); status != http.StatusOK || !strings.Contains(page, "server not reached") || !strings.Contains(page, "is 8 days old") {
		t.Errorf("without the server: %d %.900s", status, page)
	}
	if !w.lead.desk.backup.asked.IsZero() {
		t.Error("a server that was not reached a moment ago was asked")
	}
}

// TestAPageWaitsForNoReminder: what a server answers late is for the next page, and what goes wrong changes nothing.
func TestAPageWaitsForNoReminder(t *testing.T) {
	var m reminder
	late, answered := make(chan struct{}), make(chan struct{})
	if got := m.due(true, func() (client.Condition, error) { <-late; defer close(answered); return client.Condition{}, nil }); got != "" {
		t.Errorf("before any answer: %q", got)
	}
	none := func() (client.Condition, error) {
		t.Error("asked again too soon")
		return client.Condition{}, nil
	}
	m.ago(-time.Hour) // however long the rest takes
	if got := m.due(true, none); got != "" {
		t.Errorf("before any answer, again: %q", got)
	}
	close(late)
	<-answered
	for m.due(true, none) == "" { // until what was answered is kept
		time.Sleep(time.Millisecond)
	}
	if got := m.due(true, none); got != neverBackedUp {
		t.Errorf("after the answer: %q", got)
	}
	m.ago(dueEvery)
	if got := m.due(true, func() (client.Condition, error) { return client.Condition{}, errors.New("away") }); got != neverBackedUp {
		t.Errorf("after a failure: %q", got)
	}
	m.ago(dueEvery)
	if got := m.due(true, func() (client.Condition, error) { return client.Condition{BackupsElsewhere: true}, nil }); got != "" {
		t.Errorf("elsewhere: %q", got)
	}
	m.ago(remindedEvery / 2)
	if got := m.due(true, none); got != "" {
		t.Errorf("while none is due: %q", got)
	}
}
