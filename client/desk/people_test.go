package desk

import (
	"html"
	"net/http"
	"net/url"
	"os"
	"strings"
	"testing"

	"witnessmark/client"
)

// introduces is the line of somebody with a new key.
func (w *world) introduces(name, role string) string {
	w.Helper()
	w.key("new-" + name)
	line, err := os.ReadFile(w.path("new-" + name + ".pub"))
	w.must(err)
	return client.Introduction{Name: name, Roles: []string{role}, Key: strings.TrimSpace(string(line))}.String()
}

func TestALeadEnrolsByALineAndSeesWhoItIs(t *testing.T) {
	w := newWorld(t)
	lead, tech := w.inside(w.lead.desk), w.inside(w.technician.desk)
	look := func(line string) string { return "/people/enrol?line=" + url.QueryEscape(line) }

	// Whoever is no lead sees who is enrolled, and no form; what they send all the same is refused by the rules.
	tech.shows("/people", "calibrator", "SHA256:")
	tech.hides("/people", "<form", "Retire", "witnessmark invitation")
	other := w.introduces("other", "technician")
	tech.shows(look(other), "This is a lead's to do; you are technician.")
	if status, page := tech.post("/people/enrol", url.Values{"line": {other}, "role": {"lead"}, "passphrase": {passphrase}}); status != http.StatusConflict || !strings.Contains(page, "notice bad") {
		t.Errorf("a technician enrols: %d %.900s", status, page)
	}

	// A line that mail broke is read; what is wrong with one stands beside it.
	broken := strings.ReplaceAll(other, " ", "\r\n ")
	lead.shows(look(broken), "They asked for: technician.", `value="technician" checked`)
	if status, page := lead.get(look(other[:60])); status != http.StatusNotFound || !strings.Contains(page, `aria-invalid="true"`) || !strings.Contains(page, other[:60]) {
		t.Errorf("half a line: %d %.2000s", status, page)
	}

	// A new key for a name that is there, a name like another, one role for another: each is said before it is signed.
	lead.shows(look(w.introduces("calibrator", "calibrator")), "calibrator is enrolled already: this gives them another key, and the old one signs nothing more.")
	lead.shows(look(w.introduces("calibrat0r", "lead")), "calibrat0r can be mistaken for calibrator, who is there already.")
	if status, page := lead.post("/people/enrol", url.Values{"line": {other}, "passphrase": {passphrase}}); status < 400 || !strings.Contains(page, "notice bad") {
		t.Errorf("nobody is enrolled without a role: %d %.900s", status, page)
	}
	if page := lead.does("/people/enrol", url.Values{"line": {broken}, "role": {"calibrator"}}, nil); !strings.Contains(page, "You enrolled other (calibrator).") {
		t.Errorf("told as %s", page)
	}
	w.must(w.lead.client.Sync(ctx))
	people, err := w.lead.client.People()
	w.must(err)
	for _, p := range people {
		if p.GetName() == "other" && strings.Join(p.GetRoles(), ",") != "calibrator" {
			t.Errorf("enrolled as %v", p)
		}
	}
	lead.shows(look(other), "other is enrolled already, with this key: this changes their roles.")
}

func TestAnInvitationSaysWhereTheServerIs(t *testing.T) {
	w := newWorld(t)
	lead := w.inside(w.lead.desk)
	line := func(page string) client.Invitation {
		t.Helper()
		_, after, _ := strings.Cut(page, "<code data-line>")
		text, _, _ := strings.Cut(after, "</code>")
		i, err := client.ParseInvitation(html.UnescapeString(text))
		w.must(err)
		return i
	}
	page := lead.shows("/people", "At another machine this leads to that machine itself.")
	head := w.lead.client.Head()
	if i := line(page); i.Fingerprint != w.lead.client.Fingerprint() || i.Head.Size != head.Size || i.Head.Root != head.Root || strings.Join(i.Addresses, ",") != w.srv.Addr() {
		t.Errorf("invited to %+v", i)
	}
	page = lead.shows("/people?address=" + url.QueryEscape("bay.example:7017, 192.0.2.7:7017"))
	if i := line(page); strings.Join(i.Addresses, ",") != "bay.example:7017,192.0.2.7:7017" || strings.Contains(page, "leads to that machine itself") {
		t.Errorf("invited to %+v", i)
	}
	if status, page := lead.get("/people?address=bay"); status != http.StatusNotFound || !strings.Contains(page, `value="bay"`) || !strings.Contains(page, `class="wrong"`) {
		t.Errorf("no port: %d %.3000s", status, page)
	}
}

func TestWhoLeavesIsToldWhatThatEnds(t *testing.T) {
	w := twoSubmissionsWorld(t)
	lead := w.inside(w.lead.desk)
	lead.shows("/people/retire?name=calibrator", "calibrator (calibrator) signs and sees nothing more", `<a href="/sheet/1.2">1.2</a>`)
	lead.shows("/people/retire?name=lead", `<a href="/sheet/1.1">1.1</a>`, "wait again: 1.1.")
	w.inside(w.technician.desk).shows("/people/retire?name=lead", "This is a lead's to do; you are technician.")
	if status, page := lead.post("/people/retire", url.Values{"name": {"lead"}, "passphrase": {passphrase}}); status != http.StatusConflict || !strings.Contains(page, "notice bad") {
		t.Errorf("the last lead leaves: %d %.900s", status, page)
	}
	if status, page := lead.post("/people/retire", url.Values{"name": {"calibrator"}, "compromised": {"yes"}, "passphrase": {"battery staple"}}); status < 400 || !strings.Contains(page, "does not open your key") || !strings.Contains(page, `value="yes" checked`) {
		t.Errorf("a wrong passphrase: %d %.900s", status, page)
	}
	page := lead.does("/people/retire", url.Values{"name": {"calibrator"}, "compromised": {"yes"}}, nil)
	if !strings.Contains(page, "You retired calibrator.") || !strings.Contains(page, "calibrator, calibrator; their key may be in other hands") {
		t.Errorf("told as %s", page)
	}
	lead.shows("/people/retire?name=calibrator", "calibrator is retired already.")
	if status, page := lead.get("/people/retire?name=nobody"); status != http.StatusNotFound || !strings.Contains(page, "Nobody called") {
		t.Errorf("%d %.900s", status, page)
	}
}

// TestFirstStepsAreALeadsAndEnd: whoever cannot do them does not see them, and nobody does once they are done.
func TestFirstStepsAreALeadsAndEnd(t *testing.T) {
	w := newWorld(t)
	w.inside(w.lead.desk).hides("/", "What comes next")
	w.inside(w.technician.desk).hides("/", "What comes next")
}
