package desk

import (
	"crypto"
	"fmt"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"witnessmark/client"
	"witnessmark/client/grown"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/record"
)

// grows has the ledger grow while the server is stopped: each gets a state to write to, and what was done in job 1.
func (w *world) grows(each ...func(s *record.State, first []grown.Deed) error) {
	w.Helper()
	addr := w.srv.Addr()
	w.must(w.srv.Stop())
	var keys []crypto.Signer
	for _, name := range []string{"lead", "technician", "calibrator"} {
		key, err := client.LoadSigner(w.path(name), func(string) ([]byte, error) { return []byte(passphrase), nil })
		w.must(err)
		keys = append(keys, key)
	}
	e, err := bolt.Open(filepath.Join(w.path("data"), "ledger.db"))
	w.must(err)
	w.must(e.Update(func(tx store.WriteTx) error {
		s := record.Write(tx)
		var told []*recordv1.Told
		for i := range s.Size() {
			one, err := record.Told(tx, i)
			w.must(err)
			told = append(told, one)
		}
		first, err := grown.Deeds(s, told, keys...)
		for _, grow := range each {
			if err == nil {
				err = grow(s, first)
			}
		}
		if err == nil {
			err = s.Finish()
		}
		return err
	}))
	w.must(e.Close())
	w.serve(addr)
	err = w.lead.client.Sync(ctx)
	for ; client.KindOf(err) == client.Away; err = w.lead.client.Sync(ctx) { // it waits a moment before it dials again
		time.Sleep(50 * time.Millisecond)
	}
	w.must(err)
}

// grownAt is when what grew was admitted.
const grownAt = "2026-01-02T03:04:05Z"

// waitingJobs has more jobs wait for the lead, until the ledger has so many entries.
func waitingJobs(entries uint64) func(*record.State, []grown.Deed) error {
	return func(s *record.State, first []grown.Deed) error {
		for job := uint32(2); s.Size() < entries; job++ {
			if _, err := grown.Again(s, job, grownAt, first); err != nil {
				return err
			}
		}
		return nil
	}
}

// submissions is another job with so many submissions, each returned.
func submissions(n uint32) func(*record.State, []grown.Deed) error {
	return func(s *record.State, first []grown.Deed) error {
		job := s.Head().GetJobs() + 1
		var deeds []grown.Deed
		for _, d := range first {
			if sub := d.GetSubmission(); sub == nil {
				deeds = append(deeds, d)
				continue
			}
			for i := range n {
				back := &recordv1.Return{Job: 1, Submission: i + 1, ImageSha256: d.GetSubmission().GetImage().GetSha256(), Reason: "the advance at 3000 1/min is beyond what the fuel takes"}
				a := proto.CloneOf(d.Action)
				a.Body = &recordv1.Action_Return{Return: back}
				deeds = append(deeds, d, grown.Deed{Action: a, By: first[0].By})
			}
		}
		_, err := grown.Again(s, job, grownAt, deeds)
		return err
	}
}

// BenchmarkPages is what pages take in process with 200 and with 20,000 entries, turn by turn, each the best of its turns: at most
// 50 ms, 1.5 times of what the short ledger takes, and 100 kB. All jobs but one wait for the lead; that one has 60 submissions.
func BenchmarkPages(b *testing.B) {
	sizes := []uint64{200, 20000}
	var asks []func(path string) (time.Duration, int)
	var last []string
	for _, entries := range sizes {
		w := submittedWorld(b, "submission-2.bin")
		_, err := w.technician.client.AddNote(ctx, client.NewNote{About: record.Name{Job: 1}, Text: "strapped down, warm, second gear"})
		w.must(err)
		w.grows(waitingJobs(entries), submissions(60))
		w.must(w.lead.client.View(func(s *record.State) error { last = append(last, fmt.Sprint(s.Head().GetJobs())); return nil }))
		in, handler := w.inside(w.lead.desk), w.lead.desk.handler()
		asks = append(asks, func(path string) (time.Duration, int) {
			r := in.request("GET", path, nil, typed)
			for _, c := range in.http.Jar.Cookies(r.URL) {
				r.AddCookie(c)
			}
			answer := httptest.NewRecorder()
			start := time.Now()
			handler.ServeHTTP(answer, r)
			took := time.Since(start)
			if answer.Code != http.StatusOK {
				b.Fatalf("%s: %d %.2000s", path, answer.Code, answer.Body)
			}
			return took, answer.Body.Len()
		})
	}
	for b.Loop() {
	}
	for name, path := range map[string]string{
		"tray": "/", "tray-text": "/?text=strapped", "jobs": "/jobs", "search": "/search?text=wheel", "ledger": "/ledger", "ledger-kind": "/ledger?kind=enrol",
		"ledger-seldom": "/ledger?kind=withdraw", "ledger-about": "/ledger?about=7", "card": "/job/7", "card-60": "/job/LAST", "sheet-60": "/sheet/LAST.60",
	} {
		least, bytes := []time.Duration{time.Hour, time.Hour}, 0
		for range 40 {
			for i, ask := range asks {
				took, n := ask(strings.Replace(path, "LAST", last[i], 1))
				least[i], bytes = min(least[i], took), n
			}
		}
		b.ReportMetric(float64(least[1].Microseconds())/1000, name+"-ms")
		b.ReportMetric(float64(least[1])/float64(least[0]), name+"×")
		b.ReportMetric(float64(bytes)/1000, name+"-kB")
	}
}

// turns follows a link from page to page: what stands on each, and the last page's address.
func (b *browser) turns(path, link, one string) (pages [][]string, last string) {
	b.Helper()
	for next := path; next != ""; {
		last, next = next, ""
		body := b.shows(last)
		if len(body) > 100_000 {
			b.Errorf("%s has %d bytes", last, len(body))
		}
		var things []string
		for _, m := range regexp.MustCompile(one).FindAllStringSubmatch(body, -1) {
			things = append(things, m[1])
		}
		pages = append(pages, things)
		if m := regexp.MustCompile(`<a href="(\?[^"]*)">` + link).FindStringSubmatch(body); m != nil {
			next = strings.SplitN(last, "?", 2)[0] + strings.TrimSuffix(m[1], "#story")
		}
	}
	return pages, last
}

// TestLongListsTurnPages: whoever follows the links meets everything once, on pages of at most 100 kB, and comes back to the first page.
func TestLongListsTurnPages(t *testing.T) {
	w := submittedWorld(t, "submission-2.bin")
	w.grows(waitingJobs(250), submissions(70))
	b := w.inside(w.lead.desk)
	var jobs uint32
	w.must(w.lead.client.View(func(s *record.State) error { jobs = s.Head().GetJobs(); return nil }))
	const waits = `<a href="/sheet/([0-9.]+)"><b>`
	for _, c := range []struct {
		path, link, back, one string
		things                int
	}{
		{"/", `[0-9]+ more waits?`, `What comes before these`, waits, int(jobs) - 1},
		{"/?text=hc", `[0-9]+ more waits?`, `What comes before these`, waits, int(jobs) - 1},
		{"/?text=hc+12", `[0-9]+ more waits?`, `What comes before these`, waits, 1},
		{"/jobs", `More of them`, `What comes before these`, `<th scope="row"><a href="/job/([0-9]+)">`, int(jobs)},
		{"/ledger", `Older entries`, `Newest entries`, `<th scope="row">([0-9]+)</th>`, int(w.lead.client.Head().Size)},
		{fmt.Sprintf("/job/%d", jobs), `What happened before this`, `What happened after this`, `<li value="([0-9]+)">`, 142},
		{"/job/2", `What happened before this`, `What happened after this`, `<li value="([0-9]+)">`, 3},
	} {
		pages, last := b.turns(c.path, c.link, c.one)
		got := slices.Concat(pages...)
		slices.Sort(got)
		if once := slices.Compact(slices.Clone(got)); len(got) != c.things || len(once) != c.things || (len(pages) > 1) != (c.things > 50) {
			t.Errorf("%s: %d things, %d of them once, on %d pages; want %d", c.path, len(got), len(once), len(pages), c.things)
		}
		if back, _ := b.turns(last, c.back, c.one); len(back) > len(pages) || !slices.Equal(back[len(back)-1], pages[0]) {
			t.Errorf("%s: back from %s one meets %q; want %q", c.path, last, back[len(back)-1], pages[0])
		}
	}
	if past, _ := b.turns("/?skip=5000", `nowhere`, waits); len(past[0]) != mostSlips {
		t.Errorf("past the last page lie %d slips", len(past[0]))
	}
	b.shows(fmt.Sprintf("/job/%d?skip=100", jobs), `<a href="?skip=0#story">What happened after this</a>`)
}

// TestAlarmsTurnPages: none is overlooked, also where those of a page have ended.
func TestAlarmsTurnPages(t *testing.T) {
	w := collectedWorld(t)
	w.grows(waitingJobs(330)) // collected long ago, and not read back
	b := w.inside(w.lead.desk)
	alarms, err := w.lead.client.AlarmsNow(0)
	w.must(err)
	const one = `Alarm</b> <a href="[^"]*">([0-9.]+)</a>`
	pages, last := b.turns("/?text=read", `<strong>[0-9]+ more alarms?`, one)
	if got := slices.Concat(pages...); len(got) != len(alarms) || len(pages) != 2 || len(pages[0]) != mostAlarms {
		t.Fatalf("%d alarms on %d pages; want %d", len(got), len(pages), len(alarms))
	}
	if !strings.Contains(last, "text=read") {
		t.Errorf("%s forgot what was looked for", last)
	}
	for path, link := range map[string]string{last: `<strong>Alarms before these`, "/?alarms=5000": "nowhere"} {
		if back, _ := b.turns(path, link, one); !slices.Equal(back[len(back)-1], pages[0]) {
			t.Errorf("%s leads to %q; want %q", path, back[len(back)-1], pages[0])
		}
	}
}
