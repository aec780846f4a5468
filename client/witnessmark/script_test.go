package main

import (
	"bufio"
	"errors"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
	"unicode"

	"github.com/rogpeppe/go-internal/testscript"

	"witnessmark/store/postgres/pgtest"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"witnessmark": main})
}

// One script a behaviour, with the real daemon over a real connection. In a script:
//
//	workshop [--one-person]  a ledger and its server; lead, tech and cal enrolled and logged in;
//	                         the demo's definition and limits added
//	as PERSON                whose folder the commands that follow use
//	status N COMMAND…        runs a command and wants that exit status
//	edit FROM TO OFFSET=HH…  copies a file with bytes changed
//	waitfor FILE             waits until a file is there
//	pull FILE NM [CHANNEL]   a run from 1500 to 6500 1/min, NM of torque in CHANNEL (torque)
//	flip FILE                changes one bit in the middle of every page of a file
//	shows COMMAND…           runs witnessmark, whatever its status, and wants not one control character of its output
//	interrupt N COMMAND…     runs a command N times, and ends it by a signal within its first 0.3 s
//	liar LIE                 puts the person on a server that was taken over; see takenOver
//	away                     has the person's server not answer
//	daemon DIR               serves a ledger; $ADDR is where
//	ways                     $WAY1 and $WAY2 lead to the server too
//	cut WAY                  ends one of them
//	killed ADDR              ends a daemon at once
func TestScripts(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the daemon")
	}
	bin := t.TempDir()
	if out, err := exec.Command("go", "build", "-o", bin, "witnessmark/server/witnessmarkd").CombinedOutput(); err != nil {
		t.Fatalf("build the daemon: %v\n%s", err, out)
	}
	folder := filepath.Join("testdata", "script")
	runScripts(t, bin, testscript.Params{Dir: folder}, "")
	t.Run("postgresql", func(t *testing.T) {
		// What the server keeps is read, written, waited for, lied about, erased and copied by these.
		files, err := filepath.Glob(filepath.Join("testdata", "database", "*.txtar"))
		if err != nil || len(files) == 0 {
			t.Fatalf("no scripts of several servers: %v", err)
		}
		for _, name := range []string{"path", "pending", "liar", "erase", "backup", "retire", "withdraw", "recall", "tray", "documents"} {
			files = append(files, filepath.Join(folder, name+".txtar"))
		}
		for _, file := range files {
			runScripts(t, bin, testscript.Params{Files: []string{file}}, pgtest.URL(t))
		}
	})
}

// runScripts runs them with the ledgers of their servers in a database, where it is named.
func runScripts(t *testing.T, bin string, which testscript.Params, database string) {
	demo, err := filepath.Abs(filepath.Join("..", "..", "testdata", "demo"))
	if err != nil {
		t.Fatal(err)
	}
	which.Setup = func(e *testscript.Env) error {
		e.Setenv("PATH", bin+string(filepath.ListSeparator)+e.Getenv("PATH"))
		e.Setenv("DEMO", demo)
		e.Setenv("GORACE", "atexit_sleep_ms=0") // the second that each command would wait at its end
		e.Setenv("MEANT", "boost.target,wastegate.duty,lambda.target,ignition.base,ignition.98")
		e.Setenv(databaseVariable, database)
		return nil
	}
	which.Cmds = map[string]func(*testscript.TestScript, bool, []string){
		"as": asPerson, "status": wantStatus, "daemon": daemon, "workshop": openWorkshop, "edit": edit, "pull": writePull, "waitfor": waitFor,
		"liar": takenOver, "away": away, "flip": flip, "interrupt": interrupt, "shows": shows,
		"ways": openWays, "cut": cutWay, "killed": killed,
	}
	testscript.Run(t, which)
}

// databaseVariable is where the daemon finds the URL of its database.
const databaseVariable = "WITNESSMARK_DATABASE"

func asPerson(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: as PERSON")
	}
	ts.Setenv("WITNESSMARK_HOME", ts.MkAbs("home-"+args[0]))
}

func wantStatus(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: status N COMMAND…")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	err = ts.Exec(args[1], args[2:]...)
	got := 0
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		got = exit.ExitCode()
	} else {
		ts.Check(err)
	}
	if got != want {
		ts.Fatalf("exit status %d, want %d", got, want)
	}
}

var listens = regexp.MustCompile(`addr="?([0-9.:]+)`)

// daemon serves until the script ends.
func daemon(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: daemon DIR")
	}
	path, err := exec.LookPath(filepath.Join(strings.Split(ts.Getenv("PATH"), string(filepath.ListSeparator))[0], "witnessmarkd"))
	ts.Check(err)
	cmd := exec.Command(path, "serve", "--data", ts.MkAbs(args[0]), "--listen", "127.0.0.1:0")
	cmd.Env = append(os.Environ(), databaseVariable+"="+ts.Getenv(databaseVariable))
	log, err := cmd.StderrPipe()
	ts.Check(err)
	ts.Check(cmd.Start())
	ts.Defer(func() {
		_ = cmd.Process.Signal(os.Interrupt)
		_ = cmd.Wait()
	})
	found := make(chan string, 1)
	go func() {
		for lines := bufio.NewScanner(log); lines.Scan(); {
			if m := listens.FindStringSubmatch(lines.Text()); m != nil && len(found) == 0 {
				found <- m[1]
			}
		}
	}()
	select {
	case addr := <-found:
		ts.Setenv("ADDR", addr)
		daemons.Store(addr, cmd.Process)
	case <-time.After(20 * time.Second):
		ts.Fatalf("the daemon does not say where it listens")
	}
}

// daemons are the processes that scripts started, by address.
var daemons sync.Map

func killed(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: killed ADDR")
	}
	p, ok := daemons.Load(args[0])
	if !ok {
		ts.Fatalf("no daemon is at %s", args[0])
	}
	ts.Check(p.(*os.Process).Kill())
}

func openWorkshop(ts *testscript.TestScript, neg bool, args []string) {
	do := func(args ...string) { ts.Check(ts.Exec(args[0], args[1:]...)) }
	for _, name := range []string{"lead", "tech", "cal"} {
		do("witnessmark", "key", "new", name+".key")
	}
	do(append([]string{"witnessmarkd", "init", "--data", "data", "--lead", "lead", "--lead-key", "lead.key.pub"}, args...)...)
	print := regexp.MustCompile(`SHA256:\S+`).FindString(ts.ReadFile("stdout"))
	ts.Setenv("FINGERPRINT", print)
	daemon(ts, false, []string{"data"})
	for _, p := range []struct{ name, role string }{{"lead", ""}, {"tech", "technician"}, {"cal", "calibrator"}} {
		if p.role != "" {
			asPerson(ts, false, []string{"lead"})
			do("witnessmark", "person", "enrol", p.name, "--role", p.role, "--key", p.name+".key.pub")
		}
		asPerson(ts, false, []string{p.name})
		do("witnessmark", "login", ts.Getenv("ADDR"), "--key", p.name+".key", "--fingerprint", print)
	}
	asPerson(ts, false, []string{"lead"})
	do("witnessmark", "definition", "add", filepath.Join(ts.Getenv("DEMO"), "dx1-1.8t.yaml"))
	do("witnessmark", "limits", "add", filepath.Join(ts.Getenv("DEMO"), "dx1-road-98.yaml"))
}

// edit copies a binary file with bytes changed: edit FROM TO OFFSET=HH…
func edit(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 3 {
		ts.Fatalf("usage: edit FROM TO OFFSET=HH…")
	}
	b, err := os.ReadFile(ts.MkAbs(args[0]))
	ts.Check(err)
	for _, change := range args[2:] {
		at, to, _ := strings.Cut(change, "=")
		offset, err := strconv.ParseUint(at, 0, 32)
		ts.Check(err)
		value, err := strconv.ParseUint(to, 16, 8)
		ts.Check(err)
		b[offset] = byte(value)
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), b, 0o644))
}

// flip damages a file all over, and keeps its size.
func flip(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: flip FILE")
	}
	b, err := os.ReadFile(ts.MkAbs(args[0]))
	ts.Check(err)
	for i := 2048; i < len(b); i += 4096 {
		b[i] ^= 1
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), b, 0o600))
}

// shows looks for control characters in what a command prints; what it is about is in the output too.
func shows(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) == 0 {
		ts.Fatalf("usage: shows COMMAND…")
	}
	_ = ts.Exec("witnessmark", args...) // 1 where there is a warning, and 2 where the file is no good
	for _, from := range []string{"stdout", "stderr"} {
		for line := range strings.Lines(ts.ReadFile(from)) {
			if i := strings.IndexFunc(strings.TrimSuffix(line, "\n"), unicode.IsControl); i >= 0 {
				ts.Fatalf("%s: %q", from, line)
			}
		}
	}
	if ts.ReadFile("stdout")+ts.ReadFile("stderr") == "" {
		ts.Fatalf("nothing was printed")
	}
}

// interrupt has a command ended at random moments, by SIGINT and SIGTERM in turn: its status is the signal's, or
// its own where it was done before.
func interrupt(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: interrupt N COMMAND…")
	}
	n, err := strconv.Atoi(args[0])
	ts.Check(err)
	path, err := exec.LookPath(args[1])
	ts.Check(err)
	seed := rand.Uint64()
	ts.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	ended := map[int]int{}
	for i := range n {
		cmd := exec.Command(path, args[2:]...)
		cmd.Dir, cmd.Env = ts.MkAbs("."), append(os.Environ(), "WITNESSMARK_HOME="+ts.Getenv("WITNESSMARK_HOME"))
		var said strings.Builder
		cmd.Stdout, cmd.Stderr = &said, &said
		ts.Check(cmd.Start())
		signal := []syscall.Signal{syscall.SIGINT, syscall.SIGTERM}[i%2]
		time.Sleep(time.Duration(random.Int64N(int64(300 * time.Millisecond))))
		_ = cmd.Process.Signal(signal)
		_ = cmd.Wait()
		got := cmd.ProcessState.ExitCode()
		if ended[got]++; got != 0 && got != 128+int(signal) && got != -1 { // -1: before it could listen
			ts.Fatalf("status %d after %v: %s", got, signal, said.String())
		}
	}
	ts.Logf("statuses and how often: %v", ended)
}

// waitFor waits until a file is there.
func waitFor(ts *testscript.TestScript, neg bool, args []string) {
	for range 200 {
		if _, err := os.Stat(ts.MkAbs(args[0])); err == nil {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	ts.Fatalf("%s does not come", args[0])
}

// The demo is what somebody sees first; it checks its own steps.
func TestDemo(t *testing.T) {
	t.Run("folder", func(t *testing.T) { demoTells(t, "A server with an empty ledger listens on") })
	t.Run("postgresql", func(t *testing.T) {
		demoTells(t, "A server with an empty ledger in PostgreSQL listens on", "--database", pgtest.URL(t))
	})
}

func demoTells(t *testing.T, where string, args ...string) {
	var out strings.Builder
	if status := execute(append([]string{"demo", "--exit"}, args...), strings.NewReader(""), &out, &out); status != 0 {
		t.Fatalf("status %d\n%s", status, out.String())
	}
	for _, want := range []string{where, "1.1 danger", "1.2 warning", "may not sign their own", "ALARM 1.back1 readback-differs", "1.2: matches", "keeps back texts", "older ledger", "No file was written", "BAY SHEET", "car HC 81", "car           erased"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("the demo does not show %q", want)
		}
	}
	if strings.Contains(out.String(), "WTMDX1H1LLC1MB042") {
		t.Error("the demo prints a private field")
	}
	if left, _ := filepath.Glob(filepath.Join(os.TempDir(), "witnessmark-demo-*")); len(left) > 0 && runtime.GOOS == "linux" {
		t.Logf("left behind, by this or another run: %v", left)
	}
}
