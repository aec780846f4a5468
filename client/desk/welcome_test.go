package desk

import (
	"html"
	"net"
	"net/http"
	"net/url"
	"os"
	"strings"
	"testing"
	"time"

	"witnessmark/client"
)

// beside is what stands beside a field that was refused.
func beside(page, field string) string {
	_, after, _ := strings.Cut(page, `name="`+field+`"`)
	after, _, _ = strings.Cut(after, "</label>")
	_, wrong, _ := strings.Cut(after, `<strong class="wrong">`)
	wrong, _, _ = strings.Cut(wrong, "</strong>")
	return wrong
}

// TestADeskWhoseKeyIsClosedAsksForThePassphrase: nothing of the ledger is shown before; the browser that came in stays in.
func TestADeskWhoseKeyIsClosedAsksForThePassphrase(t *testing.T) {
	w := submittedWorld(t, "submission-2.bin")
	d := w.nobodys("lead").desk
	b := w.inside(d)
	for _, path := range []string{"/", "/job/1", "/join", "/start"} {
		if _, page := b.get(path); strings.Contains(page, "HC 18") {
			t.Errorf("%s shows a plate: %s", path, page)
		}
	}
	b.shows("/", "Open your desk", `name="passphrase"`)
	for typed, says := range map[string]string{"": "nothing was typed", "battery staple": "wrong passphrase"} {
		if status, page := b.post("/unlock", url.Values{"passphrase": {typed}}); status != http.StatusUnprocessableEntity || !strings.Contains(beside(page, "passphrase"), says) || strings.Contains(page, "staple") {
			t.Errorf("%q: %d %s", typed, status, page)
		}
	}
	if status, _ := b.post("/unlock", url.Values{"passphrase": {passphrase}}); status != http.StatusSeeOther || b.location != "/" {
		t.Fatalf("%d, leads to %s", status, b.location)
	}
	b.shows("/", "You are lead (lead)", "HC 18")
	if status, _ := b.post("/unlock", url.Values{"passphrase": {passphrase}}); status != http.StatusSeeOther { // from another page of the same desk
		t.Errorf("once more: %d", status)
	}
	if status, page := b.post("/sheet/1.1/return", url.Values{"reason": {"no"}}); status < 400 || !strings.Contains(page, "the passphrase of your key is missing") {
		t.Errorf("a return without the passphrase: %d %.900s", status, page)
	}
	if b.does("/sheet/1.1/return", url.Values{"reason": {"no"}}, nil); w.srv == nil {
		t.Error("no server")
	}
}

// TestNobodyElseIsWelcome: the door is as shut before a desk is anybody's.
func TestNobodyElseIsWelcome(t *testing.T) {
	w := newWorld(t)
	d := w.nobodys("new").desk
	if status, page := w.browser(d).get("/"); status != http.StatusUnauthorized || strings.Contains(page, "workshop") {
		t.Errorf("without the file: %d %s", status, page)
	}
	b := w.inside(d)
	if status, _ := b.send("POST", "/start", url.Values{"name": {"lead"}}, with(navigate, "Sec-Fetch-Site", "cross-site", "Origin", "https://attacker.example")); status != http.StatusForbidden {
		t.Errorf("from another page: %d", status)
	}
	if _, page := b.get("/job/1"); b.location != "/" {
		t.Errorf("a page that is not there yet leads to %q: %s", b.location, page)
	}
	if status, page := b.post("/join", url.Values{"name": {strings.Repeat("x", maxSaid)}}); status < 400 || strings.Contains(page, "xxx") {
		t.Errorf("too much: %d %.600s", status, page)
	}
}

// TestWhatCannotBeMadeIsSaid: a program that is missing, a folder that cannot be made, a joining that was damaged.
func TestWhatCannotBeMadeIsSaid(t *testing.T) {
	w := newWorld(t)
	i, err := w.lead.client.Invite()
	w.must(err)
	said := url.Values{"name": {"new"}, "passphrase": {passphrase}, "again": {passphrase}, "role": {"technician"}, "invitation": {i.String()},
		"people": {"several"}, "listen": {"here"}, "port": {"7017"}, "folder": {w.path("workshop")}}
	t.Setenv("PATH", t.TempDir())
	b := w.inside(w.nobodys("new").desk)
	if status, page := b.post("/start", said); status != http.StatusUnprocessableEntity || !strings.Contains(page, "itnessmarkd was found neither beside") || !strings.Contains(page, `value="new"`) || strings.Contains(page, passphrase) {
		t.Errorf("without the daemon's program: %d %s", status, page)
	}
	if client.FileExists(w.path("home-new/key")) || client.FileExists(w.path("workshop")) {
		t.Error("something was made")
	}

	w.must(os.WriteFile(w.path("home-file"), nil, 0o600))
	b = w.inside(w.nobodys("file").desk)
	if status, page := b.post("/join", said); status < 400 || !strings.Contains(page, "home-file") || !strings.Contains(page, `class="notice bad problem"`) || strings.Contains(page, passphrase) {
		t.Errorf("a home that is a file: %d %s", status, page)
	}

	w.must(os.Mkdir(w.path("home-damaged"), 0o700))
	w.must(os.WriteFile(w.path("home-damaged/joining.json"), []byte(`{"invitation": "witn`), 0o600))
	w.must(os.WriteFile(w.path("home-damaged/workshop.json"), []byte(`{"folder": "`+w.path("begun")+`", "listen": "127.0.0.1:7017"}`), 0o600))
	b = w.inside(w.nobodys("damaged").desk)
	if _, page := b.get("/join"); !strings.Contains(beside(page, "invitation"), "joining.json") {
		t.Errorf("a damaged joining: %s", page)
	}
	if status, page := b.post("/join", said); status != http.StatusSeeOther || b.location != "/join" {
		t.Errorf("joining anew: %d %s", status, page)
	}
	if b.shows("/join", "Waiting for the lead", "witnessmark introduction ssh-ed25519 "); client.FileExists(w.path("home-damaged/workshop.json")) {
		t.Error("a workshop whose beginning was killed would run beside the one that is joined")
	}
	kept, err := os.ReadFile(w.path("home-damaged/joining.json"))
	w.must(err)
	if strings.Contains(string(kept), passphrase) {
		t.Errorf("kept is %s", kept)
	}
	b.post("/leave", nil)
	if page := b.shows(b.location, `value="new"`, `value="technician" checked`, i.Fingerprint); client.FileExists(w.path("home-damaged/joining.json")) || strings.Contains(page, "once more") {
		t.Errorf("begun anew: %s", page) // the key that was made is gone on with
	}
}

// TestOnePersonStartsWithAKeyThatTheyHave: nobody is to be invited, and the workshop runs on while the desk does.
func TestOnePersonStartsWithAKeyThatTheyHave(t *testing.T) {
	w := unmade(t)
	w.key("mine")
	free, err := net.Listen("tcp", "127.0.0.1:0")
	w.must(err)
	_, port, _ := net.SplitHostPort(free.Addr().String())
	w.must(free.Close())
	p := w.nobodys("alone")
	b := w.inside(p.desk)
	said := url.Values{"name": {"alone"}, "passphrase": {"battery staple"}, "key": {w.path("mine")}, "people": {"one"}, "listen": {"here"}, "port": {port}, "folder": {w.path("workshop")}}
	if status, page := b.post("/start", said); status != http.StatusUnprocessableEntity || !strings.Contains(beside(page, "passphrase"), "wrong passphrase") || client.FileExists(w.path("workshop")) {
		t.Errorf("a wrong passphrase: %d %s", status, beside(page, "passphrase"))
	}
	said.Set("passphrase", passphrase)
	if status, page := b.post("/start", said); status != http.StatusSeeOther {
		t.Fatalf("%d %s", status, page)
	}
	b.shows("/", "You are alone (lead)", "What comes next", "Add a definition", "ends with it")
	b.hides("/", "Invite the others")
	if !p.desk.client.OnePerson() || client.FileExists(w.path("home-alone/key")) {
		t.Error("not one person's, or another key was made")
	}
	w.stops()
	if c, err := net.Dial("tcp", "127.0.0.1:"+port); err == nil {
		c.Close()
		t.Error("the server goes on without the desk")
	}
}

// waitsFor asks for a page until it says the words.
func (b *browser) waitsFor(path, words string) (page string) {
	b.Helper()
	for end := time.Now().Add(longest); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		if _, page = b.get(path); strings.Contains(page, words) {
			return page
		}
	}
	b.Fatalf("%s waits in vain for %q: %s", path, words, page)
	return ""
}

// TestWhoJoinsGoesOnWhenTheServerIsBack: it is said while it is away, and what comes after is as if it had not been.
func TestWhoJoinsGoesOnWhenTheServerIsBack(t *testing.T) {
	w := newWorld(t)
	i, err := w.lead.client.Invite()
	w.must(err)
	b := w.inside(w.nobodys("new").desk)
	b.post("/join", url.Values{"name": {"new"}, "passphrase": {passphrase}, "again": {passphrase}, "role": {"technician"}, "invitation": {i.String()}})
	b.shows("/join", "Waiting until the lead has enrolled you.")
	if _, page := b.get("/start"); b.location != "/" {
		t.Errorf("who joins may start a workshop: %s", page)
	}
	addr := w.srv.Addr()
	w.must(w.srv.Stop())
	b.waitsFor("/join", "It is asked again every few seconds.")
	w.serve(addr)
	page := b.waitsFor("/join", "Waiting until the lead has enrolled you.")
	_, after, _ := strings.Cut(page, "<code data-line>")
	line, _, _ := strings.Cut(after, "</code>")
	who, err := client.ParseIntroduction(html.UnescapeString(line))
	w.must(err)
	_, err = w.lead.client.EnrolIntroduced(ctx, who)
	w.must(err)
	b.waitsFor("/", "You are new (technician)")
}
