package desk

import (
	"fmt"
	"html"
	"net/http"
	"net/url"
	"strings"
	"testing"
)

// TestACorridorIsReadBeforeItIsSigned: what is refused stands on the form, which keeps what was typed, and nothing is entered.
func TestACorridorIsReadBeforeItIsSigned(t *testing.T) {
	w := dayWorld(t)
	b := w.inside(w.lead.desk)
	size := w.lead.client.Head().Size
	filled := func(change ...string) url.Values {
		v := url.Values{"author": {"calibrator"}, "most": {"caution"}, "maps": {"20"}, "up:ignition.base": {"1.5"}, "down:ignition.base": {""}, "up:boost.target": {""}, "down:boost.target": {"5"}}
		for i := 0; i < len(change); i += 2 {
			v.Set(change[i], change[i+1])
		}
		return v
	}
	for _, c := range []struct {
		what string
		form url.Values
		says string
	}{
		{"no number of maps", filled("maps", "many"), `"many" is no number`},
		{"too many maps", filled("maps", "1001"), "1 to 1000"},
		{"no distance", filled("up:ignition.base", "1,5"), `"1,5" is no distance`},
		{"below nothing", filled("down:ignition.base", "-1"), `"-1" is no distance`},
		{"no author", url.Values{"maps": {"20"}, "most": {"caution"}, "up:ignition.base": {"1"}}, "tick whose maps"},
		{"nobody", filled("author", "nobody"), "nobody"},
		{"the lead", filled("author", "lead"), "may not sign what they submit themselves"},
		{"no table", url.Values{"maps": {"20"}, "most": {"caution"}, "author": {"calibrator"}}, "at least one table"},
		{"a warning", filled("most", "warning"), "notice, caution"},
		{"a release that is not there", filled("from", "1.7"), "no submission 7"},
	} {
		status, body := b.sends("/job/1/corridor", c.form, nil)
		body = html.UnescapeString(body)
		if !strings.Contains(strings.ToLower(body), strings.ToLower(c.says)) || status < 400 || !strings.Contains(body, `value="`+html.EscapeString(c.form.Get("up:ignition.base"))) {
			t.Errorf("%s: %d, want %q in %.400s", c.what, status, c.says, body[strings.Index(body, "<main"):])
		}
	}
	large := filled() // as a browser without a script sends a form of many tables
	for i := range 6000 {
		large.Set(fmt.Sprintf("up:other.%d", i), "")
		large.Set(fmt.Sprintf("down:other.%d", i), "")
	}
	status, body := b.sends("/job/1/corridor", large, nil)
	if body = html.UnescapeString(body); status != http.StatusOK || !strings.Contains(body, "ignition.base at most 1.5 deg up and 0 deg down") || !strings.Contains(body, "boost.target at most 0 kPa up and 5 kPa down") {
		t.Fatalf("%d %s", status, body)
	}
	draft := strings.Split(strings.Split(body, `name="draft" value="`)[1], `"`)[0]
	b.shows("/job/1/corridor?draft="+draft, `name="up:ignition.base" value="1.5"`, `name="down:boost.target" value="5"`, `name="maps" value="20"`)
	if status, body := b.post("/job/1/corridor/sign", url.Values{"draft": {draft}, "passphrase": {"wrong"}}); status != http.StatusConflict || !strings.Contains(body, "does not open your key") {
		t.Errorf("a wrong passphrase: %d %s", status, body)
	}
	w.must(w.lead.client.Sync(ctx))
	if now := w.lead.client.Head().Size; now != size {
		t.Fatalf("%d entries, want %d", now, size)
	}
	if status, _ := b.post("/job/1/corridor/sign", url.Values{"draft": {draft}, "passphrase": {passphrase}}); status != http.StatusSeeOther {
		t.Fatalf("signing: %d", status)
	}
	b.shows("/job/1", "It is open, 0 of 20 maps", "Signed in advance by", "Close the corridor", "The rolling-road page")
	if status, body := b.post("/job/1/corridor/sign", url.Values{"draft": {draft}, "passphrase": {passphrase}}); status != http.StatusConflict || !strings.Contains(body, "not here any more") {
		t.Errorf("signing twice: %d", status)
	}
	b.shows("/job/1/corridor", "Corridor 1 is open; close it first.")
	w.inside(w.technician.desk).shows("/job/1/corridor", "a lead's to do")
}
