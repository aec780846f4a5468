package main

import (
	"cmp"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// An afternoon on the rolling road: twenty maps in a lead's corridor, two of them outside, one recalled in the
// middle, the bay's machine gone four times, one map kept.
func TestAfternoon(t *testing.T) {
	d := newAfternoon(t)
	const last = 20
	for n := 1; n <= last; n++ {
		d.submit(n)
		switch n {
		case 6, 14: // outside: it waits, and the bay hears nothing of it
			continue
		case 4:
			d.bay.sees("Enter writes")
			d.crash() // with a map on the screen
		case 8:
			d.crashUnnamed(n)
		}
		d.write(n)
		switch n {
		case 2:
			d.as("technician", 0, "run", "add", "1", d.file("run.csv", longRun(20)), "--when", "after")
			d.runs = true
		case 10:
			d.recall(n)
		case 12: // what a machine leaves that went between the names of a release's files
			d.kill()
			d.gone(n)
			d.startBay()
			d.bay.sees(fmt.Sprintf("1.%d was collected, and bay/car-1.%d.bin is not there", n, n))
			d.write(n)
		case 16:
			d.crash()
			d.bay.sees(fmt.Sprintf("1.%d is on the disk already: bay/car-1.%d.bin", n, n))
			d.bay.sees(fmt.Sprintf("1.%d is the newest release, and collected; corridor 1 is open, 14 of 20 maps", n))
		}
	}
	d.end(last)
}

// afternoon is the workshop of one, and what has happened so far.
type afternoon struct {
	*workshop
	gate     *gate
	lead     *client.Client
	cal, bay *typist
	maps     map[int][]byte    // by number of the submission
	written  map[int]bool      // what is on the bay's disk
	says     map[string]string // of alarms
	runs     bool              // whether there was one
	released int               // by the corridor
	before   int               // what was collected last; 0 for nothing
	heard    string            // of bays that are gone, and
	bayKeys  int               // of bays that are gone
}

func newAfternoon(t *testing.T) *afternoon {
	t.Setenv(hurried, "yes")
	d := &afternoon{workshop: engineJob(t), maps: map[int][]byte{}, written: map[int]bool{}, says: map[string]string{}}
	d.as("lead", 0, "limits", "add", d.file("limits.yaml", []byte(strings.Replace(engineLimits, "rules:\n",
		"rules:\n  - {id: fuel-near, severity: caution, select: {tables: [fuel]}, reason: Near the best point., source: common practice, range: {unit: g/(kW.h), min: 248.5, max: 800}}\n", 1))))
	d.lead = d.open("lead")
	d.gate = openGate(t, d.addr)
	d.as("technician", 0, "login", d.gate.addr, "--key", filepath.Join(d.dir, "technician.key"), "--fingerprint", d.fingerprint)
	d.as("lead", 0, "corridor", "open", "1", "--author", "calibrator", "--table", "fuel=10:10", "--most", "caution", "--maps", "20")
	if err := os.Mkdir(filepath.Join(d.dir, "bay"), 0o700); err != nil {
		t.Fatal(err)
	}
	d.file("work.bin", engineImage(nil))
	d.cal = d.types("calibrator", "submit", "1", "work.bin", "--follow")
	d.cal.sees("unchanged: it is the read as found")
	d.startBay()
	return d
}

func (d *afternoon) startBay() {
	d.bay = d.types("technician", "collect", "1", "--follow", "--to", "bay/car.bin", "--not-read-back")
	d.bay.sees("stop with Ctrl-C")
}

// submit saves a map, and says yes to it with one key; the even ones have a note.
func (d *afternoon) submit(n int) {
	d.Helper()
	more := 0.1 * float64(n+2)
	if n == 6 || n == 14 {
		more = 10.5
	}
	d.maps[n] = richer(more)
	d.file("work.bin", d.maps[n])
	d.cal.sees("since the car came: 1 table differs, in 1 cell")
	if more > 10 {
		d.cal.sees("outside corridor 1, so that it will wait to be signed:\r\n  fuel at ")
		d.cal.sees(fmt.Sprintf("%.1f above the start; the corridor allows 10 up", more))
	} else {
		d.cal.sees("inside corridor 1")
	}
	d.cal.sees("passes it over): ")
	if n%2 == 0 {
		d.cal.types(fmt.Sprintf("map %d", n))
	}
	d.cal.press("\r")
	d.cal.sees(fmt.Sprintf("1.%d ", n))
	if more > 10 {
		d.cal.sees("waits for a sign-off: outside corridor 1: fuel at")
	} else {
		d.released++
		d.cal.sees(fmt.Sprintf("released by corridor 1 (%d of 20)", d.released))
	}
}

// write has the technician write what is offered with one key.
func (d *afternoon) write(n int) {
	d.Helper()
	d.bay.sees(fmt.Sprintf("1.%d by calibrator", n))
	d.bay.sees("released by corridor 1")
	if n%2 == 0 {
		d.bay.sees(fmt.Sprintf("note: map %d", n))
	}
	if d.runs {
		d.bay.sees("run 1 (after)")
	}
	since := "since the car came"
	if d.before != 0 && d.before != n {
		since = fmt.Sprintf("since 1.%d, collected last", d.before)
	}
	d.bay.sees(since + ": 1 table differs, in 1 cell")
	d.bay.sees(fmt.Sprintf("Enter writes bay/car-1.%d.bin", n))
	d.bay.press("\r")
	d.bay.sees(fmt.Sprintf("collected 1.%d into bay/car-1.%d.bin", n, n))
	d.written[n], d.before = true, n
	d.holds(fmt.Sprintf("bay/car-1.%d.bin", n), d.maps[n])
}

// recall takes back what is in the car: the bay shouts, and offers the one before.
func (d *afternoon) recall(n int) {
	d.Helper()
	d.as("lead", 1, "return", fmt.Sprintf("1.%d", n), "--because", "it knocks")
	d.bay.sees("\a")
	d.bay.sees(fmt.Sprintf("do not drive: 1.%d was recalled", n))
	d.bay.sees(fmt.Sprintf("the newest release is 1.%d", n-1))
	d.write(n - 1)
}

// crash has the bay's machine go, and come again.
func (d *afternoon) crash() {
	d.Helper()
	d.kill()
	d.startBay()
}

func (d *afternoon) kill() {
	_ = d.bay.cmd.Process.Kill()
	_ = d.bay.cmd.Wait()
	d.bayKeys += d.bay.keys
	d.heard += d.bay.said.String()
}

// crashUnnamed has it go when the ledger has the collection, and the file not its name.
func (d *afternoon) crashUnnamed(n int) {
	d.Helper()
	d.bay.sees(fmt.Sprintf("Enter writes bay/car-1.%d.bin", n))
	entries := d.entries()
	d.gate.held.Store(true)
	d.bay.press("\r")
	if !d.gate.until(d.entries, entries) {
		d.Fatalf("it is not collected\n%s", d.bay.said.String())
	}
	d.kill()
	d.gate.held.Store(false)
	if got := d.inBay(); slices.Contains(got, fmt.Sprintf("car-1.%d.bin", n)) || !slices.ContainsFunc(got, func(s string) bool { return strings.HasPrefix(s, ".") }) {
		d.Fatalf("on the bay's disk are %q: not between the ledger and the name", got)
	}
	d.startBay()
	d.bay.sees(fmt.Sprintf("1.%d was collected, and bay/car-1.%d.bin is not there", n, n))
	d.before = n
}

// gone takes away the file that gets its name last.
func (d *afternoon) gone(n int) {
	d.Helper()
	if err := os.Remove(filepath.Join(d.dir, fmt.Sprintf("bay/car-1.%d.bin", n))); err != nil {
		d.Fatal(err)
	}
}

func (d *afternoon) entries() uint64 { return d.grown(d.lead) }

// inBay are the names of the files in the bay.
func (d *afternoon) inBay() (names []string) {
	d.Helper()
	list, err := os.ReadDir(filepath.Join(d.dir, "bay"))
	if err != nil {
		d.Fatal(err)
	}
	for _, e := range list {
		names = append(names, e.Name())
	}
	return names
}

// alarms are those of the job, also what is not due yet.
func (d *afternoon) alarms() (out []string) {
	d.Helper()
	d.entries()
	if err := d.lead.View(func(s *record.State) error {
		for _, a := range s.Alarms(1) {
			out = append(out, a.GetAlarm()+" "+a.GetAbout())
			d.says[a.GetAlarm()] = a.GetSays()
		}
		return nil
	}); err != nil {
		d.Fatal(err)
	}
	slices.Sort(out)
	return out
}

// end keeps one map, and holds everything to what happened.
func (d *afternoon) end(kept int) {
	name := fmt.Sprintf("1.%d", kept)
	wantAlarms := func(want ...string) {
		d.Helper()
		if got := d.alarms(); !slices.Equal(got, want) {
			d.Errorf("alarms %q, want %q", got, want)
		}
	}
	wantAlarms("not-read-back "+name, "recalled 1.10")
	if want := "18 files of corridor 1 were collected and not read back, " + name + " last"; !strings.HasPrefix(d.says[record.NotReadBack], want) {
		d.Errorf("it says %q, want %q", d.says[record.NotReadBack], want)
	}
	d.as("technician", 2, "corridor", "close", "1", "--keep", "1.19")
	d.as("technician", 1, "corridor", "close", "1", "--keep", name)
	d.bay.sees("corridor 1 is closed")
	d.bay.sees("before the car leaves, " + name + " is read back: witnessmark readback 1 FILE")
	d.bay.ends(0)
	if n := strings.Count(d.heard+d.bay.said.String(), "do not drive"); n != 2 { // at once, and where the file is offered that replaces it
		d.Errorf("the bay shouted %d times, of one recall, and not twice", n)
	}
	wantAlarms("corridor-only "+name, "not-read-back "+name, "recalled 1.10")
	d.as("technician", 0, "readback", "1", filepath.Join(d.dir, "bay", "car-"+name+".bin"))
	wantAlarms("corridor-only " + name)
	d.as("lead", 0, "sign", name)
	wantAlarms()
	d.cal.press("\x03")
	d.cal.ends(130)

	var want []string
	for n := range d.written {
		d.holds(fmt.Sprintf("bay/car-1.%d.bin", n), d.maps[n])
		for _, ending := range []string{"", ".proof.zip", ".sheet.txt"} {
			want = append(want, fmt.Sprintf("car-1.%d.bin%s", n, ending))
		}
	}
	slices.Sort(want)
	if got := d.inBay(); !slices.Equal(got, want) {
		d.Errorf("on the bay's disk are\n%q, want\n%q", got, want)
	}
	d.as("technician", 0, "verify", filepath.Join(d.dir, "bay", "car-"+name+".bin.proof.zip"))
	d.as("lead", 0, "ledger", "verify")
	var j *recordv1.Job
	if err := d.lead.View(func(s *record.State) error { j, _ = s.Job(1); return nil }); err != nil {
		d.Fatal(err)
	}
	if len(j.GetSubmissions()) != kept || j.GetRuns()[0].GetOf() != "1.2" {
		d.Errorf("%d submissions; the run is of %q", len(j.GetSubmissions()), j.GetRuns()[0].GetOf())
	}
	for _, s := range j.GetSubmissions() {
		want := map[uint32]string{10: record.Returned, uint32(kept): record.InCar}[s.GetNumber()]
		if got := s.GetState(); got != cmp.Or(want, record.Replaced) { // those outside by the author's next
			d.Errorf("1.%d is %s", s.GetNumber(), got)
		}
	}
	d.Logf("key presses: the calibrator %d for %d maps, beside the notes; the technician %d for %d files written, one of them twice and two after a crash; "+
		"the lead none for a map, and one command each to open the corridor, to recall, and to sign what stays", d.cal.keys-1, kept, d.bayKeys+d.bay.keys, len(d.written))
}
