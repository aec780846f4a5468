package desk

import (
	"bytes"
	"fmt"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"

	"witnessmark/client"
	"witnessmark/tables/proposed"
)

// sheetOfTables is a spreadsheet as import takes it, of two tables; one has what a row cannot say rightly.
const sheetOfTables = "id,quantity,role,unit,address,type,factor\nboost.target,manifold_pressure,target,kPa,0x10,u16,0.1\nlimiter,engine_speed,limit,1/min,0x20,u16,\n"

// sentText is the text that a page shows for changing.
func sentText(page string) string {
	m := regexp.MustCompile(`(?s)<textarea id="text"[^>]*>\n(.*?)</textarea>`).FindStringSubmatch(page)
	if m == nil {
		return ""
	}
	return m[1]
}

// hidden is a hidden field's value.
func hidden(page, name string) string {
	m := regexp.MustCompile(`type="hidden" name="` + name + `" value="([^"]*)"`).FindStringSubmatch(page)
	if m == nil {
		return ""
	}
	return m[1]
}

// entries is how many the ledger has.
func (w *world) entries() uint64 {
	w.Helper()
	w.must(w.lead.client.Sync(ctx))
	return w.lead.client.Head().Size
}

// looks posts a file or a text, and fails unless the page that answers says all of the words.
func (b *browser) looksAt(kind string, form url.Values, file [2]string, status int, words ...string) string {
	b.Helper()
	got, page := b.sends("/add/"+kind, form, map[string][2]string{"file": file})
	if got != status {
		b.Errorf("add %s: status %d, want %d", kind, got, status)
	}
	for _, w := range words {
		if !strings.Contains(page, w) {
			b.Errorf("add %s %s: the page lacks %q in\n%.3000s", kind, file[0], w, page)
		}
	}
	return page
}

// TestAFileIsLookedAtChangedAndAdded: faults stand beside their lines, nothing is entered before the yes, what is entered is the text that was seen.
func TestAFileIsLookedAtChangedAndAdded(t *testing.T) {
	w := newWorld(t)
	b := w.inside(w.lead.desk)
	files, err := demoFiles()
	w.must(err)
	before := w.entries()
	limits := strings.ReplaceAll(string(files["dx1-road-98.yaml"]), "name: dx1-road-98", "name: club-98")
	faulty := strings.Replace(limits, "severity: warning", "severity: grave", 1)
	page := b.looksAt("limits", nil, [2]string{"club.yaml", faulty}, http.StatusOK, "It cannot be used as it is: 1 fault.", `"grave" is not known; allowed: notice, caution, warning, danger`,
		`<pre class="quote">    severity: grave</pre>`, "Check the text again")
	if strings.Contains(page, `value="add"`) {
		t.Error("what cannot be used can be added")
	}
	if got := sentText(page); got != faulty {
		t.Error("the text is not the file's")
	}
	var many strings.Builder
	for i := range mostSaid + 7 { // a remark each: it says no reason
		fmt.Fprintf(&many, "  - {id: r%d, severity: caution, select: {}, frozen: {}}\n", i)
	}
	b.looksAt("limits", nil, [2]string{"club.yaml", "name: club\napplies_to: [dx1-1.8t]\nrules:\n" + many.String()}, http.StatusOK, "It would become <b>club</b>, revision 1.", "7 more remarks.")
	b.looksAt("limits", url.Values{"do": {"add"}, "text": {faulty}}, [2]string{}, http.StatusUnprocessableEntity, "Nothing was added: ", "cannot be used as it is", "Not done: ")
	page = b.looksAt("limits", url.Values{"do": {"check"}, "name": {"club.yaml"}, "text": {strings.ReplaceAll(limits, "\n", "\r\n")}}, [2]string{}, http.StatusOK, "It would become <b>club-98</b>, revision 1.", `value="add"`)
	if got := sentText(page); got != limits {
		t.Error("the text came back as another")
	}
	if status, page := b.post("/add/limits", url.Values{"do": {"add"}, "text": {limits}, "passphrase": {"wrong"}}); status != http.StatusConflict || !strings.Contains(page, "the passphrase does not open your key") || !strings.Contains(page, "club-98") {
		t.Errorf("with a wrong passphrase: %d", status)
	}
	if n := w.entries(); n != before {
		t.Fatalf("%d entries were made without a yes", n-before)
	}
	page = b.does("/add/limits", url.Values{"do": {"add"}, "text": {limits}}, nil)
	if !strings.Contains(page, "You added limits club-98, revision 1.") {
		t.Errorf("it leads to %.600s", page)
	}
	if _, file, err := w.lead.client.Document(ctx, client.Limits, "club-98", 0); err != nil || string(file) != limits {
		t.Errorf("what was added is another text: %v", err)
	}
	b.looksAt("limits", nil, [2]string{"club.yaml", limits}, http.StatusOK, "It is revision 1 of club-98 already, byte for byte.")
	b.looksAt("limits", url.Values{"do": {"add"}, "text": {limits}}, [2]string{}, http.StatusUnprocessableEntity, "Nothing was added: limits club-98 is revision 1 already")
	b.looksAt("limits", nil, [2]string{"club.txt", limits}, http.StatusUnprocessableEntity, "club.txt: its ending does not say what it is; allowed is .yaml")
	b.looksAt("limits", nil, [2]string{}, http.StatusUnprocessableEntity, "Choose a file first")
	b.looksAt("limits", nil, [2]string{"club.yaml", string(files["asfound.bin"])}, http.StatusUnprocessableEntity, "club.yaml is not text")
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	for _, name := range []string{"club.yaml", "road.yaml"} {
		part, err := m.CreateFormFile("file", name)
		w.must(err)
		_, err = part.Write([]byte(limits))
		w.must(err)
	}
	w.must(m.Close())
	if status, page := b.ask("POST", "/add/limits", &body, with(ours, "Content-Type", m.FormDataContentType(), "Origin", "http://"+b.desk.door.host)); status != http.StatusUnprocessableEntity || !strings.Contains(page, "allowed is one at a time") {
		t.Errorf("two files at once: %d", status)
	}

	// Others look, and add nothing.
	tech := w.inside(w.technician.desk)
	page = tech.looksAt("limits", nil, [2]string{"club.yaml", limits + "# more\n"}, http.StatusOK, "It would become", "This is a lead's to do; you are technician.")
	if strings.Contains(page, `value="add"`) {
		t.Error("a technician may add")
	}
	tech.looksAt("limits", url.Values{"do": {"add"}, "text": {limits + "# more\n"}}, [2]string{}, http.StatusConflict, "lead")
}

// TestWhatIsJudgedWorseIsAgreedTo: it is shown before the yes, and where it became more meanwhile the yes does not count.
func TestWhatIsJudgedWorseIsAgreedTo(t *testing.T) {
	w := submittedWorld(t, "submission-2.bin")
	b := w.inside(w.lead.desk)
	files, err := demoFiles()
	w.must(err)
	stricter := strings.Replace(string(files["dx1-road-98.yaml"]), "severity: warning", "severity: danger", 1)
	page := b.looksAt("limits", nil, [2]string{"road.yaml", stricter}, http.StatusOK, "It judges 1 submission of open jobs worse than it was judged:", `href="/sheet/1.1"`, "HC 18", `v-danger`)
	seen := hidden(page, "worse")
	before := w.entries()
	b.looksAt("limits", url.Values{"do": {"add"}, "text": {stricter}, "worse": {""}}, [2]string{}, http.StatusConflict, "Nothing was added: it judges others worse than you were shown", `href="/sheet/1.1"`)
	if n := w.entries(); n != before {
		t.Fatal("it was added all the same")
	}
	page = b.does("/add/limits", url.Values{"do": {"add"}, "text": {stricter}, "worse": {seen}}, nil)
	if !strings.Contains(page, "You added limits dx1-road-98, revision 2.") {
		t.Errorf("added: %.600s", page)
	}
	b.shows("/", "danger")
	b.shows("/catalog/limits", "dx1-road-98", `href="/job/1"`, "<td>2</td>")
	b.shows("/catalog/definition", "dx1-1.8t", `href="/jobs?definition=dx1-1.8t&job=open"`, "1 open job", "1 in all")
	b.shows("/catalog/limits/dx1-road-98?revision=2&against=1", "What differs from revision 1", `class="went"`, `class="came"`, "severity: danger")
	b.shows("/catalog/limits/dx1-road-98?revision=1&against=1", "say the same")
	if status, body := b.get("/catalog/limits/dx1-road-98/file?revision=1"); status != http.StatusOK || body != string(files["dx1-road-98.yaml"]) || !strings.Contains(b.header.Get("Content-Disposition"), "dx1-road-98.1.yaml") {
		t.Errorf("the file: %d, %d bytes, %v", status, len(body), b.header)
	}
	for _, path := range []string{"/catalog/limits/nobody", "/catalog/limits/dx1-road-98?revision=9", "/catalog/limits/dx1-road-98?against=9", "/catalog/runs", "/catalog/runs/x", "/add/runs", "/propose?definition=nobody", "/add/limits?from=nobody"} {
		if status, _ := b.get(path); status != http.StatusNotFound {
			t.Errorf("%s: %d", path, status)
		}
	}
}

// TestARevisionInBetween: a text that was shown as one revision does not become another, and undoes nothing of somebody else's unsaid.
func TestARevisionInBetween(t *testing.T) {
	w := newWorld(t)
	b := w.inside(w.lead.desk)
	files, err := demoFiles()
	w.must(err)
	mine := string(files["dx1-road-98.yaml"]) + "# mine\n"
	page := b.looksAt("limits", nil, [2]string{"road.yaml", mine}, http.StatusOK, "revision 2</button>")
	const since = "Somebody added another revision since"
	if strings.Contains(page, since) {
		t.Error("it says that somebody added one")
	}
	form := url.Values{"do": {"add"}, "name": {"road.yaml"}, "text": {mine}, "becomes": {hidden(page, "becomes")}}
	for n := 2; n <= 3; n++ {
		w.must(os.WriteFile(w.path("theirs.yaml"), fmt.Appendf(files["dx1-road-98.yaml"], "# theirs, %d\n", n), 0o600))
		_, _, err = w.lead.client.AddDocument(ctx, client.Limits, w.path("theirs.yaml"))
		w.must(err)
	}
	before := w.entries()
	page = b.looksAt("limits", form, [2]string{}, http.StatusConflict, "Nothing was added: it would become dx1-road-98 4 by now, and you were shown dx1-road-98 2", since, `href="/catalog/limits/dx1-road-98?revision=3&against=1#text"`)
	if n := w.entries(); n != before {
		t.Fatal("it was added all the same")
	}
	b.looksAt("limits", url.Values{"do": {"check"}, "text": {mine}, "becomes": form["becomes"]}, [2]string{}, http.StatusOK, since)
	form.Set("text", strings.Replace(mine, "name: dx1-road-98", "name: other", 1))
	b.looksAt("limits", form, [2]string{}, http.StatusConflict, "it would become other 1 by now")
	form.Set("text", mine)
	form.Set("becomes", hidden(page, "becomes"))
	if page = b.does("/add/limits", form, nil); !strings.Contains(page, "You added limits dx1-road-98, revision 4.") {
		t.Errorf("added: %.600s", page)
	}
}

// TestADescriptionBecomesADefinition: what came out is shown with what was left out, is changed, and then added; then limits are proposed for it.
func TestADescriptionBecomesADefinition(t *testing.T) {
	w := newWorld(t)
	b := w.inside(w.lead.desk)
	b.looksAt("definition", nil, [2]string{"Bay Car.csv", sheetOfTables}, http.StatusUnprocessableEntity, "the byte order is missing", "<details open>")
	page := b.looksAt("definition", url.Values{"order": {"big"}}, [2]string{"Bay Car.csv", sheetOfTables}, http.StatusOK, "Nothing: all of it was imported.", "bay_car.yaml", "boost.target", "size: ")
	text := sentText(page)
	if !strings.Contains(text, "id: limiter") {
		t.Fatalf("the text is\n%s", text)
	}
	b.looksAt("definition", nil, [2]string{"car.csv", "id,adress\nx,1\n"}, http.StatusUnprocessableEntity, "car.csv")
	text = strings.Replace(text, "id: limiter", "id: limiter.rpm", 1)
	page = b.looksAt("definition", url.Values{"do": {"check"}, "name": {"bay_car.yaml"}, "text": {text}}, [2]string{}, http.StatusOK, "revision 1")
	if !strings.Contains(b.does("/add/definition", url.Values{"do": {"add"}, "text": {text}, "worse": {hidden(page, "worse")}}, nil), "limiter.rpm") {
		t.Error("it was not added as changed")
	}
	_, page = b.get("/propose?definition=bay_car&fuel=98+RON")
	for _, says := range []string{"name: bay_car-start", "boost-step", "limiters-kept", "fuel: [&#34;98 RON&#34;]", "Each rule says of itself", "It would become <b>bay_car-start</b>, revision 1."} {
		if !strings.Contains(page, says) {
			t.Errorf("the proposal lacks %q", says)
		}
	}
	b.shows("/propose?definition=dx1-1.8t", "No rule was proposed for boost_gain: boost.gain", proposed.Mark)
	if status, page := b.get("/propose?definition=bay_car&job=7"); status != http.StatusNotFound || !strings.Contains(page, "job 7") {
		t.Errorf("by a job that there is not: %d", status)
	}
}

// TestADescriptionOfTheStandard: what was left out is said object by object, and the limits that its author declared are looked at on their own.
func TestADescriptionOfTheStandard(t *testing.T) {
	w := newWorld(t)
	b := w.inside(w.lead.desk)
	a2l, err := os.ReadFile("../../tables/imported/testdata/hillclimb.a2l")
	w.must(err)
	want, err := os.ReadFile("../../tables/imported/testdata/hc-18t.limits.yaml")
	w.must(err)
	page := b.looksAt("definition", url.Values{"order": {"big"}}, [2]string{"hillclimb.a2l", string(a2l)}, http.StatusOK, "hc-18t.yaml", "What was left out of hillclimb.a2l", ": left out: ", "Limits that came with it", "Look at hc-18t.limits.yaml")
	if strings.Contains(page, "/up-") || strings.Contains(page, w.lead.desk.dir) {
		t.Error("the page names the desk's own folder")
	}
	declared := regexp.MustCompile(`(?s)name="text" value="(.*?)"><button`).FindStringSubmatch(page)
	if declared == nil || declared[1] != string(want) {
		t.Fatalf("the limits that came with it are\n%.300q", declared)
	}
	again := b.looksAt("definition", url.Values{"text": {sentText(page)}, "said": {"RPM: left out: <b>no"}, "said-of": {"What was left out of hillclimb.a2l"}, "declared": {"../hc-18t.limits.yaml"}, "declared-text": {declared[1]}},
		[2]string{}, http.StatusOK, "What was left out of hillclimb.a2l", "Look at hc-18t.limits.yaml") // still, when the text is checked again
	if !strings.Contains(again, hidden(again, "declared-text")) || hidden(again, "said") != "RPM: left out: <b>no" {
		t.Error("what was said of the import is said no more")
	}
	b.looksAt("limits", url.Values{"name": {"hc-18t.limits.yaml"}, "text": {declared[1]}}, [2]string{}, http.StatusOK, "It cannot be added as it is.", `there is no definition called "hc-18t"`)
	b.does("/add/definition", url.Values{"do": {"add"}, "text": {sentText(page)}}, nil)
	b.looksAt("limits", url.Values{"name": {"hc-18t.limits.yaml"}, "text": {declared[1]}}, [2]string{}, http.StatusOK, "It would become <b>hc-18t-declared</b>, revision 1.")
	b.looksAt("definition", url.Values{"order": {"big"}, "module": {"another"}}, [2]string{"hillclimb.a2l", string(a2l)}, http.StatusUnprocessableEntity, `it has no module "another"`)
	b.looksAt("definition", url.Values{"extension": {"x"}}, [2]string{"hillclimb.a2l", string(a2l)}, http.StatusUnprocessableEntity, `ddress extension "x" is no whole number`)
	if status, page := b.get("/propose?definition=hc-18t"); status != http.StatusConflict || !strings.Contains(page, "nothing can be proposed") {
		t.Errorf("a proposal by nothing: %d", status)
	}
}

// TestAnImageIsReadByADefinition: what looks wrong in it is said beside the lines, and what cannot be read is.
func TestAnImageIsReadByADefinition(t *testing.T) {
	w := newWorld(t)
	b := w.inside(w.lead.desk)
	files, err := demoFiles()
	w.must(err)
	def := strings.Replace(string(files["dx1-1.8t.yaml"]), "name: dx1-1.8t\n", "name: club\n", 1)
	look := func(def, image, body string, status int, words ...string) {
		t.Helper()
		got, page := b.sends("/add/definition", nil, map[string][2]string{"file": {"club.yaml", def}, "image": {image, body}})
		for _, says := range words {
			if got != status || !strings.Contains(page, says) {
				t.Errorf("%s: %d, and the page lacks %q in %.3000s", image, got, says, page)
			}
		}
	}
	found := string(files["asfound.bin"])
	look(def, "asfound.hex", string(files["asfound.hex"]), http.StatusOK, "All of it was read once out of asfound.hex.", "Nothing is wrong or doubtful in it.", "revision 1")
	look(strings.Replace(def, "unit: 1/min\n    stored: {address: 0x109A0", "unit: Hz\n    stored: {address: 0x109A0", 1), "asfound.bin", found, http.StatusOK, "limiter.soft holds", "far outside what engine_speed usually is", "v-caution")
	look(strings.Replace(def, "role: target", "role: aim", 1), "asfound.bin", found, http.StatusOK, "It cannot be used as it is")
	if _, page := b.sends("/add/definition", nil, map[string][2]string{"file": {"club.yaml", def}}); strings.Contains(page, "read once out of") {
		t.Error("without an image it says that one was read")
	}
	look(def, "half.bin", found[:1000], http.StatusOK, "It could not be read out of half.bin: ", "revision 1")
	look(def, "limits.yaml", string(files["dx1-road-98.yaml"]), http.StatusUnprocessableEntity, "limits.yaml is text, and not an image")
}

// TestAProposalGoesByAJobsRead, and by none of another definition.
func TestAProposalGoesByAJobsRead(t *testing.T) {
	w := submittedWorld(t, "submission-2.bin")
	b := w.inside(w.lead.desk)
	b.shows("/propose?definition=dx1-1.8t&job=1", "boost-lump", "curves-falling")
	if _, page := b.get("/propose?definition=dx1-1.8t"); strings.Contains(page, "boost-lump") {
		t.Error("without an image it says how smooth tables are")
	}
	w.must(os.WriteFile(w.path("other.yaml"), []byte("name: other\nbyte_order: big\nimage: {size: 16}\ntables:\n  - {id: one, quantity: lambda, unit: \"1\", stored: {address: 0, type: u8}}\n"), 0o600))
	_, _, err := w.lead.client.AddDocument(ctx, client.Definitions, w.path("other.yaml"))
	w.must(err)
	if status, page := b.get("/propose?definition=other&job=1"); status != http.StatusNotFound || !strings.Contains(page, "ob 1 is of definition dx1-1.8t") {
		t.Errorf("by another definition's job: %d %.300s", status, page)
	}
}

// TestLongTextsAreShownInStretches: of lines and of revisions.
func TestLongTextsAreShownInStretches(t *testing.T) {
	w := newWorld(t)
	b := w.inside(w.lead.desk)
	text := "name: long\nbyte_order: big\nimage: {size: 16}\ntables:\n  - {id: one, quantity: lambda, unit: \"1\", stored: {address: 0, type: u8}}\n"
	w.must(os.WriteFile(w.path("long.yaml"), []byte(text+strings.Repeat("#\n", 2*listedLines)+"# last\n"), 0o600))
	_, _, err := w.lead.client.AddDocument(ctx, client.Definitions, w.path("long.yaml"))
	w.must(err)
	for from, want := range map[int][]string{0: {`id="l1"`, `id="l2000"`, "from=2000"}, 2500: {`id="l2001"`, "from=0", "from=4000"}, 99999: {"# last", `id="l4006"`, "from=2000"}} {
		page := b.shows(fmt.Sprintf("/catalog/definition/long?from=%d", from), want...)
		if n := strings.Count(page, "<code>"); n > listedLines {
			t.Errorf("from %d: %d lines", from, n)
		}
	}
	w.must(os.WriteFile(w.path("long.yaml"), []byte(text+strings.Repeat("# other\n", listedLines)), 0o600))
	_, _, err = w.lead.client.AddDocument(ctx, client.Definitions, w.path("long.yaml"))
	w.must(err)
	page := b.shows("/catalog/definition/long?revision=2&against=1", "4004 more lines; the command definition show long --revision 2 --against 1 shows all of them.")
	if n := strings.Count(page, "<code>"); n >= listedLines {
		t.Errorf("%d lines of a difference", n)
	}
}
