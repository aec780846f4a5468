package desk

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
)

func TestWithoutTheServerTheDeskShowsWhatWasVerified(t *testing.T) {
	w := submittedWorld(t, "submission-2.bin")
	b := w.inside(w.lead.desk)
	if status, page := b.get("/job/1"); status != http.StatusOK || strings.Contains(page, "server not reached") {
		t.Fatalf("with a server: %d %s", status, page)
	}
	w.must(w.srv.Stop())
	contact := w.lead.client.Head().Contact.Local().Format("2 Jan 15:04")
	for _, path := range []string{"/", "/jobs", "/job/1", "/job/1/close", "/job/new", "/ledger"} {
		status, page := b.get(path)
		if status != http.StatusOK || !strings.Contains(page, "As of "+contact+", server not reached.") || path == "/job/1" && !strings.Contains(page, "1.1 submitted") {
			t.Errorf("%s without: %d %s", path, status, page)
		}
	}
	if status, page := b.post("/sheet/1.1/return", url.Values{"reason": {"no"}, "passphrase": {passphrase}}); status < 400 || !strings.Contains(page, "cannot be reached") {
		t.Errorf("acting without: %d %s", status, page)
	}
}

// TestWhatTheClientSaysIsShown: what became of an action that got no answer stands on the next pages.
func TestWhatTheClientSaysIsShown(t *testing.T) {
	w := newWorld(t)
	b := w.inside(w.lead.desk)
	b.hides("/", "signed earlier")
	for n := range keptLines + 1 {
		w.lead.client.Say(fmt.Sprintf("the note that you signed earlier and got no answer for is entry %d", n))
	}
	b.shows("/ledger", "<p>The note that you signed earlier and got no answer for is entry 5</p>", "is entry 1<")
	b.hides("/", "is entry 0<")
}

func TestWhatIsNotThere(t *testing.T) {
	w := submittedWorld(t, "submission-2.bin")
	b := w.inside(w.technician.desk)
	for path, says := range map[string]string{
		"/job/2": "There is no job 2", "/job/x": "is not a job", "/sheet/1.9": "no submission 9", "/sheet/1": "is not a submission",
		"/sheet/1.1/table/none": "no such page", "/sheet/1.1/card/none": "no such page", "/taken/none": "no such page", "/elsewhere": "no such page",
		"/job/1/between?a=1.1&b=1.7": "no submission 7",
	} {
		status, page := b.get(path)
		if status != http.StatusNotFound || !strings.Contains(page, says) {
			t.Errorf("%s: %d %.900s; want 404 with %q", path, status, page, says)
		}
	}
	for path, says := range map[string]string{
		"/job/1/submit": "This is a calibrator&#39;s or a lead&#39;s to do; you are technician.", "/job/1/collect": "Nothing is released",
		"/job/1/readback": "Nothing was collected",
	} {
		if status, page := b.get(path); status != http.StatusOK || !strings.Contains(page, says) || strings.Contains(page, "<form") {
			t.Errorf("%s: %d %.900s; want %q and no form", path, status, page, says)
		}
	}
	// A form that was never shown is refused by the rules, whoever sends it.
	before := w.technician.client.Head().Size
	if status, page := b.post("/sheet/1.1/draft", url.Values{"because:advance-ceiling:ignition.98": {"x"}}); status < 400 || !strings.Contains(page, "notice bad") {
		t.Errorf("a technician drew a sign-off up: %d %.900s", status, page)
	}
	w.must(w.technician.client.Sync(ctx))
	if w.technician.client.Head().Size != before {
		t.Error("something was signed")
	}
}
