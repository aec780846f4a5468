package desk

import (
	"fmt"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"witnessmark/client"
)

// does posts a deed, and fails unless it was done; the answer is the page that it led to.
func (b *browser) does(path string, form url.Values, files map[string][2]string) string {
	b.Helper()
	status, page := b.sends(path, form, files)
	if status != http.StatusSeeOther {
		b.Fatalf("%s: %d %s", path, status, regexp.MustCompile(`(?s)<div class="notice bad.*?</div>`).FindString(page))
	}
	return b.shows(b.location)
}

// hides fails if a page says any of the words.
func (b *browser) hides(path string, words ...string) {
	b.Helper()
	page := b.shows(path)
	for _, s := range words {
		if strings.Contains(page, s) {
			b.Errorf("%s says %q", path, s)
		}
	}
}

func TestAJobIsCorrectedNotedClosedAndErased(t *testing.T) {
	w := submittedWorld(t, "submission-2.bin")
	tech, lead := w.inside(w.technician.desk), w.inside(w.lead.desk)
	tech.does("/job/1/amend", url.Values{"plate": {"HC 81"}, "limits": {"dx1-road-98"}, "fuel": {"98 RON"}, "parts": {"larger compressor wheel"}}, nil)
	if j, err := w.technician.client.Job(1); err != nil || j.GetPlate().GetText() != "HC 81" || j.GetFrame().GetText() == "" || len(j.GetParts()) != 1 || len(j.GetNumbers()) != 0 {
		t.Errorf("corrected to %v, %v", j, err)
	}
	page := tech.does("/job/1/note", url.Values{"submission": {"1"}, "table": {"boost.target"}, "text": {"<b>smells of fuel"}}, map[string][2]string{"file": {"bay.html", "<script>1</script>"}})
	file := regexp.MustCompile(`/job/1/file/[0-9a-f]{64}`).FindString(page)
	if !strings.Contains(page, "<h1>boost.target</h1>") || file == "" {
		t.Errorf("the note leads to %s", page)
	}
	for path, says := range map[string]string{"/job/1": "boost.target: &lt;b&gt;smells of fuel", "/sheet/1.1": "about <b>boost.target</b>", "/sheet/1.1/table/boost.target": "&lt;b&gt;smells of fuel"} {
		if _, raw := tech.get(path); !strings.Contains(raw, says) || !strings.Contains(raw, file) || strings.Contains(raw, "<b>smells") {
			t.Errorf("%s does not have the note, or takes it for the page's own words", path)
		}
	}
	if status, body := tech.get(file); status != http.StatusOK || body != "<script>1</script>" || tech.header.Get("Content-Type") != "application/octet-stream" ||
		!strings.Contains(tech.header.Get("Content-Disposition"), "attachment; filename=bay.html") {
		t.Errorf("the note's file: %d %q %v", status, body, tech.header)
	}
	if status, page := lead.post("/job/1/erase", url.Values{"because": {"asked for"}, "passphrase": {passphrase}}); status < 400 || !strings.Contains(page, "close it first") {
		t.Errorf("an open job is erased: %d", status)
	}
	tech.does("/job/1/close", url.Values{"outcome": {"done"}}, nil)
	tech.hides("/", "HC 81")
	tech.shows("/jobs", "HC 81", "closed, done")
	tech.shows("/job/1/read", "The job is closed; reopen it first.")
	tech.shows("/job/1/erase", "This is a lead's to do; you are technician.")
	tech.does("/job/1/reopen", url.Values{"because": {"the boost drops"}}, nil)
	tech.does("/job/1/close", url.Values{"outcome": {"cancelled"}, "because": {"sold"}}, nil)
	if page := lead.does("/job/1/erase", url.Values{"because": {"asked for"}}, nil); !strings.Contains(page, "erased by") && !strings.Contains(page, "<dt>Erased</dt>") {
		t.Errorf("the card does not say that it was erased: %s", page)
	}
	for _, path := range []string{"/", "/jobs", "/job/1", "/sheet/1.1", "/sheet/1.1/table/boost.target", "/job/1/runs", "/job/1/between", "/ledger"} {
		lead.hides(path, "HC 81", "HC 18", "smells of fuel", "bay.html", "for the larger wheel")
	}
	lead.shows("/job/1", `<h1 class="plate">erased</h1>`, "asked for", "the boost drops", "job 1 closed</b>: cancelled", "sold")
	lead.shows("/sheet/1.1", "Findings, worst first", `<p class="said">erased</p>`)
	if status, _ := lead.get(file); status == http.StatusOK {
		t.Error("the file of an erased note is still there")
	}
}

func TestAReadIsVoided(t *testing.T) {
	w := newWorld(t)
	_, err := w.technician.client.OpenJob(ctx, client.NewJob{Definition: "dx1-1.8t", Details: client.Details{Plate: "HC 18", Limits: "dx1-road-98", Fuel: "98 RON"}})
	w.must(err)
	tech := w.inside(w.technician.desk)
	files, err := demoFiles()
	w.must(err)
	if page := tech.does("/job/1/read", nil, map[string][2]string{"file": {"a.bin", string(files["submission-2.bin"])}}); !strings.Contains(page, "It is the car as found") {
		t.Errorf("the first read: %s", page)
	}
	tech.shows("/job/1/void", `<option value="1">read 1 by technician`)
	tech.does("/job/1/void", url.Values{"read": {"1"}, "because": {"the wrong file"}}, nil)
	tech.shows("/job/1", "read 1 voided</b>: the wrong file", "not known: nothing was read yet")
	tech.shows("/job/1/void", "The job has no read yet.")
	tech.shows("/", "its controller has not been read yet")
}

// TestWhichCarIsAskedWhereItIsNotSettled: the question comes with what was typed, and only then.
func TestWhichCarIsAskedWhereItIsNotSettled(t *testing.T) {
	w := submittedWorld(t, "submission-2.bin")
	tech := w.inside(w.technician.desk)
	const question = "Which car is it?"
	tech.hides("/job/new", question)
	again := url.Values{"plate": {"HC 18"}, "frame": {"ANOTHERFRAME00001"}, "definition": {"dx1-1.8t"}, "limits": {"dx1-road-98"}, "fuel": {"98 RON"}}
	status, page := tech.sends("/job/new", again, nil)
	if status < 400 || !strings.Contains(page, question) || !strings.Contains(page, `value="ANOTHERFRAME00001"`) {
		t.Fatalf("%d %s", status, page)
	}
	again.Set("car", "another")
	if page := tech.does("/job/new", again, nil); !strings.Contains(page, "number 2 of the ledger") {
		t.Errorf("another car: %s", page)
	}
	again.Set("frame", "")
	again.Del("car")
	if page := tech.does("/job/new", again, nil); !strings.Contains(page, "; also in job") {
		t.Errorf("a car that has been in: %s", page)
	}
}

func TestASubmissionSaysWhatItStartedFrom(t *testing.T) {
	w := submittedWorld(t, "submission-2.bin")
	cal, tech := w.inside(w.calibrator.desk), w.inside(w.technician.desk)
	cal.shows("/job/1/submit", `<option value="1">1.1 by calibrator, waiting</option>`, `name="meant" value="ignition.98"`)
	files, err := demoFiles()
	w.must(err)

	// What is plainly no image is told so before anybody signs, and what was ticked stays ticked.
	for name, c := range map[string][2]string{
		"limits.yaml": {string(files["dx1-road-98.yaml"]), "limits.yaml is text, and not an image"},
		"images.zip":  {"PK\x03\x04" + string(make([]byte, 300)), "images.zip is an archive, and not an image"},
	} {
		status, page := cal.sends("/job/1/submit", url.Values{"meant": {"ignition.98"}}, map[string][2]string{"file": {name, c[0]}})
		if status != http.StatusUnprocessableEntity || !strings.Contains(page, c[1]) || !strings.Contains(page, `value="ignition.98" checked`) {
			t.Errorf("%s: %d %.2000s", name, status, page)
		}
	}
	if status, page := tech.sends("/job/1/run", url.Values{"when": {"before"}}, map[string][2]string{"file": {"run.csv", string(files["asfound.bin"])}}); status != http.StatusUnprocessableEntity || !strings.Contains(page, "run.csv is not text") {
		t.Errorf("an image as a run: %d %.2000s", status, page)
	}
	for _, name := range []string{"asfound.hex", "asfound.s19", "asfound.bin", "submission-1.bin"} { // from memory: how such files begin
		w.must(wrongFile(w.demo(name), "image"))
	}

	if page := cal.does("/job/1/submit", url.Values{"submission": {"1"}, "note": {"more\r\nboost"}, "meant": {"boost.target"}}, map[string][2]string{"file": {"b.bin", string(files["submission-1.bin"])}}); !strings.Contains(page, "Sheet of 1.2") {
		t.Errorf("it leads to %s", page)
	}
	cal.shows("/job/1", "more\nboost\nStarted from 1.1.")
	if s, err := w.calibrator.client.Submission(1, 2); err != nil || !slices.Equal(s.GetMeant(), []string{"boost.target"}) {
		t.Errorf("meant are %q, %v", s.GetMeant(), err)
	}

	// A working copy is the bytes that were submitted; a technician takes none of a submission.
	for path, want := range map[string]string{"/get/1.2": "submission-1.bin", "/get/1.1": "submission-2.bin", "/get/1.read1": "asfound.bin", "/get/1?format=ihex": "asfound.hex"} {
		if status, body := cal.get(path); status != http.StatusOK || body != string(files[want]) {
			t.Errorf("%s: %d, %d bytes; want %s", path, status, len(body), want)
		}
	}
	cal.shows("/job/1", `href="/get/1.2"`, `href="/get/1.read1"`)
	tech.hides("/job/1", `href="/get/1.2"`)
	tech.shows("/job/1", `href="/get/1.read1"`)
	if status, page := tech.get("/get/1.2"); status != http.StatusConflict || !strings.Contains(page, "a technician collects what is released") {
		t.Errorf("a technician takes 1.2: %d %.600s", status, page)
	}

	// Where a submission stands on the only read, voiding it is not offered.
	lead := w.inside(w.lead.desk)
	lead.hides("/job/1", "Void a read")
	lead.shows("/job/1/void", "A submission stands on the only read that there is")

	// A return names what was ticked, also where no script runs; the text goes in lines.
	lead.post("/sheet/1.2/return", url.Values{"passphrase": {passphrase}, "reason": {"See these:\r\nboth."}, "finding": {"boost-ceiling:boost.target", "cut-above-target:boost.target"}})
	s, err := w.lead.client.Submission(1, 2)
	w.must(err)
	if got := s.GetReturn().GetReason(); !strings.HasPrefix(got, "See these:\nboth.\n") || !strings.Contains(got, "\nboost-ceiling:boost.target: found 1999.0 kPa, allowed 210.0 kPa") || strings.Count(got, "\n") != 3 {
		t.Errorf("returned because %q", got)
	}
	lead.shows("/sheet/1.2", "Returned by lead.")

	// Its reasons stand on the next one's sheet, ticked off by the report; what became of each finding is shown.
	cal.does("/job/1/submit", url.Values{"note": {"without the slip"}}, map[string][2]string{"file": {"c.bin", string(files["submission-2.bin"])}})
	lead.shows("/sheet/1.3", "What was asked of its author", "boost-ceiling:boost.target: <b>gone</b>", "its findings are gone", "/job/1/between?a=1.2&b=1.3")
	lead.shows("/job/1/between?a=1.2&b=1.3", "<h3>Gone</h3>", `<a href="/sheet/1.2/table/boost.target?at=9,10">boost-ceiling in boost.target</a>`, "findings as before")
}

// TestADeskThatCannotSignSaysSo: on top of every page, and everything can be looked at.
func TestADeskThatCannotSignSaysSo(t *testing.T) {
	w := submittedWorld(t, "submission-2.bin")
	d, err := Start(Options{Client: w.lead.client})
	w.must(err)
	defer d.Close()
	b := w.inside(d)
	for _, path := range []string{"/", "/sheet/1.1", "/job/1/close"} {
		b.shows(path, "This desk cannot sign: the key has no passphrase")
	}
	if status, page := b.post("/sheet/1.1/return", url.Values{"reason": {"no"}}); status != http.StatusConflict || !strings.Contains(page, "cannot sign") {
		t.Errorf("it signed: %d %.900s", status, page)
	}
}

// collected takes the world on to a release that was written.
func (w *world) collected() *world {
	w.Helper()
	w.submitted("submission-2.bin")
	r, err := w.lead.client.Review(ctx, 1, 1)
	w.must(err)
	_, err = w.lead.client.SignOff(ctx, r, map[string]string{"advance-ceiling:ignition.98": "no knock on the rolling road"}, nil)
	w.must(err)
	_, err = w.technician.client.Collect(ctx, client.Collecting{Job: 1, Out: w.path("out.bin"), FreshRead: w.demo("asfound.bin")})
	w.must(err)
	return w
}

var alarmBox = regexp.MustCompile(`(?s)<section class="alarms".*?</section>`)

// alarmed fails unless each of the three pages has its alarms first, saying the words; no words: none.
func (b *browser) alarmed(words ...string) {
	b.Helper()
	for _, path := range []string{"/", "/job/1", "/sheet/1.1"} {
		page := b.shows(path)
		box := alarmBox.FindString(page)
		if (box == "") != (len(words) == 0) {
			b.Errorf("%s has the alarms %q, want %q", path, box, words)
		}
		for _, s := range words {
			if !strings.Contains(box, s) {
				b.Errorf("%s: the alarms %s do not say %q", path, box, s)
			}
		}
		if first := regexp.MustCompile(`<dl|<h2`).FindStringIndex(page); box != "" && strings.Index(page, box) > first[0] {
			b.Errorf("%s: the alarms are not first", path)
		}
	}
}

// TestAReadBackThatDiffersIsNeverGreen: it is red where it is told and wherever the job is shown, until
// one that matches came.
func TestAReadBackThatDiffersIsNeverGreen(t *testing.T) {
	w := collectedWorld(t)
	tech := w.inside(w.technician.desk)
	tech.alarmed() // collected, and not due yet
	back, err := os.ReadFile(w.demo("readback.bin"))
	w.must(err)
	wrong, err := os.ReadFile(w.demo("submission-1.bin"))
	w.must(err)
	page := tech.does("/job/1/readback", nil, map[string][2]string{"file": {"back.bin", string(wrong)}})
	if !strings.Contains(page, `<div class="notice bad" role="alert"><p>The read-back differs`) || strings.Contains(page, "notice done") {
		t.Errorf("it is told as %s", page)
	}
	tech.alarmed("1.back1", "what is in the car is unknown", "A read-back that matches, or a new read, ends it.")
	tech.shows("/job/1", "<strong>unknown</strong>")
	if page := tech.does("/job/1/readback", nil, map[string][2]string{"file": {"back.bin", string(back)}}); !strings.Contains(page, `<div class="notice done" role="status"><p>The read-back matches`) {
		t.Errorf("a match is told as %s", page)
	}
	tech.alarmed()
}

func TestARecallIsAnAlarmThatALeadSettles(t *testing.T) {
	w := collectedWorld(t)
	tech, lead := w.inside(w.technician.desk), w.inside(w.lead.desk)
	if page := lead.does("/sheet/1.1/return", url.Values{"reason": {"it knocks"}}, nil); !strings.Contains(page, `<div class="notice bad" role="alert"><p>You returned 1.1.`) {
		t.Errorf("told as %s", page)
	}
	tech.alarmed("1.1 was recalled, and may be in the car: it knocks", `By <span class="by">lead`)
	tech.hides("/job/1", "Settle")
	lead.alarmed("/job/1/settle?alarm=1.1+recalled")
	lead.shows("/job/1/settle?alarm=1.1+recalled", `<option value="1.1 recalled" selected>`)
	lead.does("/job/1/settle", url.Values{"alarm": {"1.1 recalled"}, "because": {"the car was written anew by hand"}}, nil)
	lead.alarmed()
	lead.shows("/job/1", "the car was written anew by hand")
}

func TestWhatIsNotReadBackWithinADayIsAnAlarm(t *testing.T) {
	w := newWorld(t)
	w.late.Store(int64(25 * time.Hour))
	w.collected()
	w.inside(w.lead.desk).alarmed("1.1 was collected and not read back")
	w.must(func() error {
		_, err := w.technician.client.NotPossible(ctx, 1, "locked on the bench")
		return err
	}())
	w.inside(w.lead.desk).alarmed()
}

// TestPagesOfJobsAreBounded: the tray has the open ones, and all are listed in pages.
func TestPagesOfJobsAreBounded(t *testing.T) {
	w := newWorld(t)
	for i := range 3 {
		j, err := w.technician.client.OpenJob(ctx, client.NewJob{Definition: "dx1-1.8t", Details: client.Details{Plate: fmt.Sprintf("HC %d", i+1), Limits: "dx1-road-98", Fuel: "98 RON"}})
		w.must(err)
		if i < 2 {
			_, err = w.technician.client.CloseJob(ctx, j.GetNumber(), "done", "")
			w.must(err)
		}
	}
	b := w.inside(w.lead.desk)
	b.hides("/", ">HC 1<", ">HC 2<")
	b.shows("/", ">HC 3<", "Every job, closed ones too")
	b.shows("/jobs", ">HC 1<", ">HC 2<", ">HC 3<")
	b.hides("/jobs?skip=1", ">HC 3<")
	b.shows("/jobs?skip=1", ">HC 2<", ">HC 1<")
}

// TestTheLedgerIsListedFromTheNewest: below an entry, of a kind, by a person.
func TestTheLedgerIsListedFromTheNewest(t *testing.T) {
	w := submittedWorld(t, "submission-2.bin")
	b := w.inside(w.lead.desk)
	rows := regexp.MustCompile(`<th scope="row">(\d+)</th><td>([a-z-]+)</td><td>([a-z]+)</td>`)
	b.shows("/ledger?kind=submission", `<a href="/sheet/1.1">1.1</a></td><td class="plate">HC 18</td>`)
	for path, want := range map[string]string{
		"/ledger":                         "7 submission calibrator, 6 read technician, 5 job technician, 4 limits lead, 3 definition lead, 2 enrol lead, 1 enrol lead, 0 genesis lead",
		"/ledger?before=3":                "2 enrol lead, 1 enrol lead, 0 genesis lead",
		"/ledger?kind=enrol":              "2 enrol lead, 1 enrol lead",
		"/ledger?who=Tech":                "6 read technician, 5 job technician",
		"/ledger?kind=enrol&who=tech":     "",
		"/ledger?about=1.1":               "7 submission calibrator",
		"/ledger?about=1":                 "7 submission calibrator, 6 read technician, 5 job technician",
		"/ledger?about=hc":                "7 submission calibrator, 6 read technician, 5 job technician",
		"/ledger?about=9":                 "",
		"/ledger?kind=&who=lead&before=2": "1 enrol lead, 0 genesis lead",
	} {
		var got []string
		for _, m := range rows.FindAllStringSubmatch(b.shows(path), -1) {
			got = append(got, strings.Join(m[1:], " "))
		}
		if s := strings.Join(got, ", "); s != want {
			t.Errorf("%s lists %q, want %q", path, s, want)
		}
	}
}
