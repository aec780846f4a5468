package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"witnessmark/client"
	"witnessmark/client/waytest"
)

// hurried has commands of this test binary take a file that was written a moment ago for saved.
const hurried = "WITNESSMARK_TEST_HURRIED"

func init() {
	if os.Getenv(hurried) != "" {
		still = 50 * time.Millisecond
	}
}

// typist is a command at a terminal of its own, and who types there.
type typist struct {
	*testing.T
	cmd           *exec.Cmd
	master, slave *os.File
	said          *heard
	read          int // how much of what was said was waited for
	keys          int // how often a key was pressed
}

// types starts a command of a person at a terminal.
func (b *workshop) types(person string, args ...string) *typist {
	b.Helper()
	p := &typist{T: b.T, said: &heard{}}
	p.master, p.slave = pseudoTerminal(b.T)
	p.cmd = exec.Command("witnessmark", args...)
	p.cmd.Env = append(os.Environ(), "WITNESSMARK_HOME="+filepath.Join(b.dir, person), "TERM=dumb")
	p.cmd.Dir = b.dir
	p.cmd.Stdin, p.cmd.Stdout, p.cmd.Stderr = p.slave, p.slave, p.slave
	p.cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
	go func() {
		for buf := make([]byte, 4096); ; {
			n, err := p.master.Read(buf)
			_, _ = p.said.Write(buf[:n])
			if err != nil {
				return
			}
		}
	}()
	if err := p.cmd.Start(); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		_ = p.cmd.Process.Kill()
		_ = p.cmd.Wait()
	})
	return p
}

// sees waits until something is said that was not waited for yet.
func (p *typist) sees(text string) {
	p.Helper()
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if at := strings.Index(p.said.String()[p.read:], text); at >= 0 {
			p.read += at + len(text)
			return
		}
	}
	all := p.said.String()
	p.Fatalf("%v does not say %q; it said\n%s", p.cmd.Args, text, all[max(0, len(all)-1500):])
}

// press has keys pressed, and counts them.
func (p *typist) press(keys string) {
	p.Helper()
	p.keys += len([]rune(keys))
	p.types(keys)
}

// types has a text typed.
func (p *typist) types(text string) {
	p.Helper()
	if _, err := p.master.WriteString(text); err != nil {
		p.Fatal(err)
	}
}

// ends waits for the command's end, and wants its status, and a terminal that shows again what is typed.
func (p *typist) ends(status int) {
	p.Helper()
	ended := make(chan struct{})
	go func() { _ = p.cmd.Wait(); close(ended) }()
	select {
	case <-ended:
	case <-time.After(30 * time.Second):
		p.Fatalf("%v does not end", p.cmd.Args)
	}
	if got := p.cmd.ProcessState.ExitCode(); got != status {
		p.Errorf("%v: status %d, want %d; it said\n%s", p.cmd.Args, got, status, p.said.String())
	}
	state, err := unix.IoctlGetTermios(int(p.slave.Fd()), unix.TCGETS)
	if err != nil {
		p.Fatal(err)
	}
	if state.Lflag&unix.ECHO == 0 || state.Lflag&unix.ICANON == 0 || state.Oflag&unix.OPOST == 0 {
		p.Errorf("%v: the terminal stays as it was for single keys", p.cmd.Args)
	}
}

// engineJob is a workshop with a job of the published engine, read as found.
func engineJob(t *testing.T) *workshop {
	t.Helper()
	b := newWorkshop(t)
	b.as("lead", 0, "definition", "add", b.file("engine.yaml", []byte(engineDefinition)))
	b.as("lead", 0, "limits", "add", b.file("limits.yaml", []byte(engineLimits)))
	b.as("technician", 0, "job", "open", "--car", "HC 18", "--definition", "engine-1.0", "--limits", "engine-plausible")
	b.as("technician", 0, "read", "add", "1", b.file("found.bin", engineImage(nil)))
	return b
}

// richer is a map with one cell at 364.1 rad/s and 54.2 N.m so much above what was published.
func richer(more float64) []byte {
	return engineImage(map[[2]int]float64{{4, 7}: engineFuel[4][7] + more})
}

// released submits an image and has it signed off; the answer is its name.
func (b *workshop) released(img []byte, note string) string {
	b.Helper()
	name, _, _ := strings.Cut(b.as("calibrator", 0, "submit", "1", b.file("map.bin", img), "--note", note), " ")
	b.as("lead", 0, "sign", name)
	return name
}

// Without a corridor each release is signed for, offered, written by a key, and read back before the next.
func TestFollowSignedReleases(t *testing.T) {
	b := engineJob(t)
	b.released(richer(1), "a little richer")
	bay := b.types("technician", "collect", "1", "--follow", "--to", "car.bin")
	bay.sees("1.1 by calibrator, verdict clear")
	bay.sees("note: a little richer")
	bay.sees("since the car came: 1 table differs, in 1 cell")
	bay.sees("fuel  1 of 108 cells, in g/(kW.h), +1.0\r\n")
	bay.sees("torque 54.2 N.m, engine speed 364.1 rad/s  247.9→248.9 ▲")
	bay.sees("\a")
	bay.sees("Enter writes car-1.1.bin")
	bay.press("x")
	bay.sees("keys: Enter writes car-1.1.bin, s skips it, t shows its tables whole, q ends")
	bay.press("\x1b[A") // an arrow is none of them, and no Escape
	bay.press("t")
	bay.sees("247.9→248.9")
	bay.press("\r")
	bay.sees("collected 1.1 into car-1.1.bin")
	bay.sees("1.1 was collected and is not read back yet: witnessmark readback 1 FILE")
	b.holds("car-1.1.bin", richer(1))

	b.released(richer(2), "more of it")
	b.as("technician", 0, "readback", "1", filepath.Join(b.dir, "car-1.1.bin"))
	bay.sees("1.2 by calibrator")
	bay.sees("since 1.1, collected last: 1 table differs")
	bay.sees("248.9→249.9")
	bay.sees("since the car came: 1 table differs")
	bay.sees("Enter writes")
	bay.press("s")
	bay.sees("1.2 is skipped; Enter offers it again")
	bay.press("\r")
	bay.sees("Enter writes car-1.2.bin")
	bay.press("\r")
	bay.sees("collected 1.2 into")
	bay.sees("1.2 was collected and is not read back yet")

	b.as("lead", 1, "return", "1.2", "--because", "it knocks")
	bay.sees("DANGER")
	bay.sees("do not drive: 1.2 was recalled")
	bay.sees("the newest release is 1.1")
	bay.sees("1.1 by calibrator")
	bay.sees("since 1.2, collected last")
	bay.sees("do not drive: 1.2 was recalled") // where it is read, however much lies between
	bay.sees("Enter writes car-1.1.bin")
	bay.press("\r") // its file is there already, with its bytes: that it is collected again is entered
	bay.sees("collected 1.1 into")
	bay.press("\x03")
	bay.sees("before the car leaves, 1.1 is read back: witnessmark readback 1 FILE")
	bay.ends(130)
	b.holds("car-1.1.bin", richer(1))
	b.as("technician", 0, "verify", filepath.Join(b.dir, "car-1.1.bin.proof.zip"))
}

// holds wants exactly these bytes of a file.
func (b *workshop) holds(name string, want []byte) {
	b.Helper()
	got, err := os.ReadFile(filepath.Join(b.dir, name))
	if err != nil {
		b.Fatal(err)
	}
	if string(got) != string(want) {
		b.Fatalf("%s is not the file that was released", name)
	}
}

// What another bay collected is not said to be here.
func TestFollowTwoBays(t *testing.T) {
	b := engineJob(t)
	b.released(richer(1), "x")
	here, there := b.types("technician", "collect", "1", "--follow", "--to", "here.bin"), b.types("lead", "collect", "1", "--follow", "--to", "there.bin")
	here.sees("Enter writes here-1.1.bin")
	there.sees("Enter writes there-1.1.bin")
	there.press("\r")
	there.sees("collected 1.1 into there-1.1.bin")
	here.sees("1.1 was collected and is not read back yet")
	b.as("technician", 0, "readback", "1", filepath.Join(b.dir, "there-1.1.bin"))
	there.sees("1.1 is the newest release, and collected; the next is waited for")
	here.sees("1.1 is the newest release, and collected; here-1.1.bin is not there; the next is waited for")
}

// What cannot be written is not, and what is there stays.
func TestFollowTakesNoOthersPlace(t *testing.T) {
	b := engineJob(t)
	b.released(richer(1), "x")
	other := []byte("something else")
	b.file("car-1.1.bin", other)
	bay := b.types("technician", "collect", "1", "--follow", "--to", "none/car.bin")
	bay.sees("Enter writes none/car-1.1.bin")
	bay.press("\r")
	bay.sees("no such file or directory")
	bay.sees("Enter writes none/car-1.1.bin")
	bay.press("q")
	bay.ends(0)
	bay = b.types("technician", "collect", "1", "--follow", "--to", "car.bin", "--quiet")
	bay.sees("Enter writes car-1.1.bin")
	bay.press("\r")
	bay.sees("car-1.1.bin is there already and is not 1.1; nothing takes its place")
	b.holds("car-1.1.bin", other)
	if err := os.Remove(filepath.Join(b.dir, "car-1.1.bin")); err != nil {
		t.Fatal(err)
	}
	bay.press("\r")
	bay.sees("collected 1.1 into")
	b.as("technician", 0, "job", "close", "1", "--as", "done")
	bay.sees("job 1 is closed")
	bay.sees("before the car leaves, 1.1 is read back")
	bay.ends(0)
	b.as("technician", 0, "job", "reopen", "1", "--because", "not done")
	if strings.Contains(bay.said.String(), "\a") {
		t.Error("--quiet rings")
	}
	b.holds("car-1.1.bin", richer(1))
	for _, c := range []struct{ args, says string }{
		{"--to car.bin --follow", "asks for a key at a terminal"},
		{"--follow --yes --out car.bin", "--out does not go with --follow"},
		{"--yes --out car.bin", "--yes goes with --follow"},
		{"--follow --yes --not-read-back", "job 1 has no open corridor"},
		{"--follow --yes --to car", "--to car: no folder is there, and as a file's name its ending does not say"},
		{"", "--out FILE is needed"},
	} {
		if got := b.as("technician", 2, append([]string{"collect", "1"}, strings.Fields(c.args)...)...); !strings.Contains(got, c.says) {
			t.Errorf("collect 1 %s: %s", c.args, got)
		}
	}
}

// A file is submitted as it was shown, each time that it was saved and somebody says so; never half of one.
func TestFollowSaves(t *testing.T) {
	t.Setenv(hurried, "yes")
	b := engineJob(t)
	b.file("work.bin", engineImage(nil))
	cal := b.types("calibrator", "submit", "1", "work.bin", "--follow")
	cal.sees("work.bin is unchanged: it is the read as found")
	b.file("work.bin", richer(1)[:engineSize/2])
	cal.sees("work.bin: 512 bytes; allowed: 1024")
	cal.sees("nothing is sent")
	b.file("work.bin", richer(1))
	cal.sees("work.bin, verdict clear")
	cal.sees("since the car came: 1 table differs, in 1 cell")
	cal.sees("247.9→248.9 ▲")
	cal.sees("note (Enter submits, Escape passes it over): ")
	cal.press("rig\x7fch\x1b[Der")
	cal.sees("over): richer")
	b.file("later.bin", richer(-2)) // what an editor does: another file takes its place
	if err := os.Rename(filepath.Join(b.dir, "later.bin"), filepath.Join(b.dir, "work.bin")); err != nil {
		t.Fatal(err)
	}
	cal.sees("verdict warning")
	cal.sees("fuel-floor:fuel")
	cal.sees("passes it over): richer") // what was typed stays
	cal.press("\x1b")
	cal.sees("passed over: nothing is sent")
	b.file("work.bin", richer(1))
	cal.sees("passes it over): ")
	cal.press("a little richer\r")
	cal.sees("1.1 clear")
	b.file("work.bin", richer(2))
	cal.sees("since 1.1, submitted last: 1 table differs")
	cal.sees("248.9→249.9")
	cal.sees("passes it over): ")
	b.file("work.bin", richer(1))
	cal.sees("work.bin is unchanged: it is 1.1")
	b.file("work.bin", richer(2))
	cal.sees("passes it over): ")
	cal.press("\r")
	cal.sees("1.2 clear")
	if err := unix.IoctlSetWinsize(int(cal.slave.Fd()), unix.TIOCSWINSZ, &unix.Winsize{Row: 24, Col: 60}); err != nil {
		t.Fatal(err)
	}
	b.file("work.bin", richer(3))
	cal.sees("passes it over): ")
	cal.press("0123456789abcdef")
	cal.sees("\r\x1b[Knote (Enter submits, Escape passes it over): …3456789abcdef")
	cal.press("\x7f\x7f\x7f")
	cal.sees("\r\x1b[Knote (Enter submits, Escape passes it over): 0123456789abc")
	cal.press("\x1b")
	if err := os.Remove(filepath.Join(b.dir, "work.bin")); err != nil {
		t.Fatal(err)
	}
	cal.sees("no such file or directory: nothing is sent")
	cal.press("\x03")
	cal.ends(130)
	card := b.as("lead", 0, "job", "show", "1")
	for _, want := range []string{"a little richer", "submission 1.2"} {
		if !strings.Contains(card, want) {
			t.Errorf("the card lacks %q:\n%s", want, card)
		}
	}
	if strings.Contains(card, "1.3") {
		t.Errorf("more was submitted than two:\n%s", card)
	}
	cal = b.types("calibrator", "submit", "1", b.file("work.bin", richer(3)), "--follow")
	cal.sees("passes it over): ")
	if err := cal.cmd.Process.Signal(syscall.SIGHUP); err != nil {
		t.Fatal(err)
	}
	cal.sees("\r\nwitnessmark: interrupted")
	cal.ends(128 + int(syscall.SIGHUP))
	if got := b.as("calibrator", 2, "submit", "1", "work.bin", "--follow"); !strings.Contains(got, "asks for notes at a terminal") {
		t.Error(got)
	}
}

// A corridor that is closed while the note is typed released nothing, whatever was foreseen.
func TestFollowSavesCorridorClosed(t *testing.T) {
	t.Setenv(hurried, "yes")
	b := engineJob(t)
	b.as("lead", 0, "corridor", "open", "1", "--author", "calibrator", "--table", "fuel=5:5", "--maps", "3", "--yes")
	cal := b.types("calibrator", "submit", "1", b.file("work.bin", richer(1)), "--follow")
	cal.sees("inside corridor 1, which released 0 of 3")
	cal.sees("passes it over): ")
	b.as("technician", 0, "corridor", "close", "1")
	cal.press("\r")
	cal.sees("1.1 clear")
	cal.sees("waits for a sign-off: corridor 1 covers nothing any more")
}

// The server goes and comes; what was released meanwhile is offered, and each of the two is said once.
func TestFollowWithoutServer(t *testing.T) {
	b := engineJob(t)
	b.released(richer(1), "x")
	way, err := waytest.Open("127.0.0.1:0", b.addr)
	if err != nil {
		t.Fatal(err)
	}
	b.as("technician", 0, "login", way.Addr, "--key", filepath.Join(b.dir, "technician.key"), "--fingerprint", b.fingerprint)
	way.Cut()
	bay := b.types("technician", "collect", "1", "--follow", "--to", "car.bin")
	bay.sees("server not reached")
	bay.sees("it is asked again")
	if way, err = waytest.Open(way.Addr, b.addr); err != nil {
		t.Fatal(err)
	}
	bay.sees("the server answers again")
	bay.sees("Enter writes car-1.1.bin")
	way.Cut()
	bay.sees("it is asked again")
	bay.press("\r")
	bay.sees("Enter writes car-1.1.bin") // still
	if _, err := os.Stat(filepath.Join(b.dir, "car-1.1.bin")); err == nil {
		t.Fatal("a file was written, and nobody was asked")
	}
	b.as("lead", 0, "return", "1.1", "--because", "not this one")
	b.released(richer(2), "y")
	if way, err = waytest.Open(way.Addr, b.addr); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(way.Cut)
	bay.sees("the server answers again")
	bay.sees("1.2 by calibrator")
	bay.sees("Enter writes car-1.2.bin")
	bay.press("\r")
	bay.sees("collected 1.2 into car-1.2.bin")
	bay.press("q")
	bay.ends(0)
	b.holds("car-1.2.bin", richer(2))
	if n := strings.Count(bay.said.String(), "it is asked again"); n != 2 {
		t.Errorf("said %d times that the server is away, which it was twice", n)
	}
}

// An answer that is lost: the ledger has the collection, and the file is offered until it is there.
func TestFollowLostAnswer(t *testing.T) {
	b := engineJob(t)
	b.released(richer(1), "x")
	g, lead := openGate(t, b.addr), b.open("lead")
	b.as("technician", 0, "login", g.addr, "--key", filepath.Join(b.dir, "technician.key"), "--fingerprint", b.fingerprint)
	bay := b.types("technician", "collect", "1", "--follow", "--to", "car.bin")
	bay.sees("Enter writes car-1.1.bin")
	entries := b.grown(lead)
	g.held.Store(true)
	bay.press("\r")
	if !g.until(func() uint64 { return b.grown(lead) }, entries) {
		t.Fatal(bay.said.String())
	}
	g.cut()
	g.held.Store(false)
	bay.sees("the server cannot be reached")
	bay.sees("Enter writes car-1.1.bin")
	if _, err := os.Stat(filepath.Join(b.dir, "car-1.1.bin")); err == nil {
		t.Fatal("a file was written whose collection nobody confirmed")
	}
	bay.press("\r")
	bay.sees("collected 1.1 into")
	bay.sees("1.1 was collected and is not read back yet")
	bay.press("q")
	bay.ends(0)
	b.holds("car-1.1.bin", richer(1))
}

// An answer that is lost: what the ledger has is not submitted twice.
func TestFollowSavesLostAnswer(t *testing.T) {
	t.Setenv(hurried, "yes")
	b := engineJob(t)
	g, lead := openGate(t, b.addr), b.open("lead")
	b.as("calibrator", 0, "login", g.addr, "--key", filepath.Join(b.dir, "calibrator.key"), "--fingerprint", b.fingerprint)
	b.file("work.bin", richer(1))
	cal := b.types("calibrator", "submit", "1", "work.bin", "--follow")
	cal.sees("passes it over): ")
	entries := b.grown(lead)
	g.held.Store(true)
	cal.press("once\r")
	if !g.until(func() uint64 { return b.grown(lead) }, entries) {
		t.Fatal(cal.said.String())
	}
	g.cut()
	g.held.Store(false)
	cal.sees("the server cannot be reached")
	cal.sees("work.bin is unchanged: it is 1.1")
	b.file("work.bin", richer(2))
	cal.sees("passes it over): ")
	cal.press("\r")
	cal.sees("1.2 clear")
	cal.press("\x03")
	cal.ends(130)
	b.grown(lead)
	j, err := lead.Job(1)
	if err != nil {
		t.Fatal(err)
	}
	if subs := j.GetSubmissions(); len(subs) != 2 || subs[0].GetNote().GetText() != "once" || subs[1].GetNote() != nil || subs[1].GetFrom() != 1 {
		t.Errorf("submitted: %v", subs)
	}
}

// open is a person's client.
func (b *workshop) open(person string) *client.Client {
	b.Helper()
	c, err := client.Open(&client.Home{Dir: filepath.Join(b.dir, person)}, nil)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { c.Close() })
	return c
}

// grown is how many entries the ledger has by now.
func (b *workshop) grown(c *client.Client) uint64 {
	b.Helper()
	if err := c.Sync(b.Context()); err != nil {
		b.Fatal(err)
	}
	return c.Head().Size
}

// For a script: no key, one line of JSON a file, and what is beside it on the side.
func TestFollowYes(t *testing.T) {
	b := engineJob(t)
	b.released(richer(1), "x")
	var out, said heard
	c := exec.Command("witnessmark", "collect", "1", "--follow", "--yes", "--format", "json", "--to", b.dir)
	c.Env, c.Stdout, c.Stderr = append(os.Environ(), "WITNESSMARK_HOME="+filepath.Join(b.dir, "technician")), &out, &said
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	stuck := time.AfterFunc(time.Minute, func() { _ = c.Process.Kill() })
	defer stuck.Stop()
	sees := func(in *heard, text string) {
		for !strings.Contains(in.String(), text) && c.ProcessState == nil {
			time.Sleep(5 * time.Millisecond)
		}
	}
	sees(&said, "is not read back yet")
	b.released(richer(2), "y")
	b.as("technician", 0, "readback", "1", filepath.Join(b.dir, "1.1.bin"))
	sees(&out, "1.2")
	b.as("lead", 1, "return", "1.2", "--because", "it knocks")
	sees(&said, "do not drive")
	for strings.Count(out.String(), `"collected":"1.1"`) < 2 && c.ProcessState == nil {
		time.Sleep(5 * time.Millisecond)
	}
	_ = c.Process.Signal(os.Interrupt)
	_ = c.Wait()
	if got := c.ProcessState.ExitCode(); got != 130 {
		t.Errorf("status %d", got)
	}
	names := ""
	for line := range strings.Lines(out.String()) {
		var one struct{ Collected, File, SHA256 string }
		if err := json.Unmarshal([]byte(line), &one); err != nil {
			t.Fatal(err)
		}
		file, err := os.ReadFile(one.File)
		if err != nil || client.HashHex(file) != one.SHA256 {
			t.Errorf("%s: %v", line, err)
		}
		names += one.Collected + " "
	}
	if names != "1.1 1.2 1.1 " {
		t.Errorf("collected %s", names)
	}
	for line := range strings.Lines(said.String()) {
		if !json.Valid([]byte(line)) {
			t.Errorf("on the side: %s", line)
		}
	}
	b.holds("1.1.bin", richer(1))
	b.holds("1.2.bin", richer(2))
}
