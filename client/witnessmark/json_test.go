package main

import (
	"bytes"
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/store/signoff"
)

var updateFields = flag.Bool("update-fields", false, "write testdata/json-fields.txt anew; fields may be added and never go")

// parts of answers that are answers of their own elsewhere: their fields stand there.
var partAnswers = map[string]string{"report": "report", "changed": "report", "changed_since": "report", "alarms": "alarm", "reads": "read", "read": "read",
	"submissions": "submission", "read_back": "read-back", "read_backs": "read-back", "jobs": "job", "runs": "run", "was": "finding", "is": "finding", "findings": "finding"}

// fields are the names in answers: the answer that each is part of, and its path there.
type fields map[string]bool

func (f fields) add(answer, path string, v any) {
	switch v := v.(type) {
	case map[string]any:
		for name, value := range v {
			at := strings.TrimPrefix(path+"."+name, ".")
			f[answer+": "+at] = true
			part, ok := partAnswers[name]
			switch {
			case keyedByPeople[name]:
			case ok && answer != "outcome" && answer != "run check" && path != "returns": // whose parts are their own
				f.add(part, "", value)
			default:
				f.add(answer, at, value)
			}
		}
	case []any:
		for _, one := range v {
			f.add(answer, path, one)
		}
	}
}

// keyedByPeople are objects whose names are no fields: findings' keys, a car's numbers, quantities.
var keyedByPeople = map[string]bool{"numbers": true, "because": true, "inputs": true, "at_min": true, "at_max": true, "at": true}

// asked is a workshop where every answer is asked for as JSON.
type asked struct {
	*workshop
	fields fields
	done   map[string]bool // commands
}

// as runs a command, and takes the fields of its answer in under a name.
func (w *asked) as(person, answer string, status int, args ...string) {
	w.Helper()
	w.Setenv("WITNESSMARK_HOME", filepath.Join(w.dir, person))
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	out, errs := &bytes.Buffer{}, &bytes.Buffer{}
	a := &app{in: strings.NewReader(""), out: out, errOut: errs, format: "text"}
	if args[0] == "desk" { // which goes on until it is interrupted
		a.out = io.MultiWriter(out, writerFunc(func(b []byte) (int, error) { cancel(); return len(b), nil }))
	}
	if got := a.run(ctx, append(args, "--format", "json")); got != status {
		w.Fatalf("%s: witnessmark %s: exit status %d, want %d\n%s%s", person, strings.Join(args, " "), got, status, out, errs)
	}
	if cmd, _, err := a.root().Find(args); err == nil {
		w.done[cmd.CommandPath()] = true
	}
	w.take(answer, out, args)
	w.take("beside", errs, args)
}

type writerFunc func([]byte) (int, error)

func (f writerFunc) Write(b []byte) (int, error) { return f(b) }

func (w *asked) take(answer string, out io.Reader, args []string) {
	w.Helper()
	for d := json.NewDecoder(out); ; {
		var v map[string]any
		switch err := d.Decode(&v); {
		case errors.Is(err, io.EOF):
			return
		case err != nil:
			w.Fatalf("witnessmark %s prints what is no JSON: %v", strings.Join(args, " "), err)
		}
		w.fields.add(answer, "", v)
	}
}

// The names of fields stay: other programs read them. Every command has its say here, and what it
// prints beside its answer, errors too, is JSON.
func TestJSONFields(t *testing.T) {
	w := &asked{workshop: newWorkshop(t), fields: fields{}, done: map[string]bool{}}
	for _, scene := range []func(*asked){openedJob, wholeVisit, onRollingRoad, lookedAt, withoutServer, ended} {
		scene(w)
	}
	var leaf func(*cobra.Command)
	leaf = func(c *cobra.Command) {
		for _, child := range c.Commands() {
			leaf(child)
		}
		if !c.HasSubCommands() && c.Name() != "help" && !w.done[c.CommandPath()] {
			t.Errorf("%s: no step here shows its JSON", c.CommandPath())
		}
	}
	leaf((&app{}).root())
	const golden = "testdata/json-fields.txt"
	have := slices.Sorted(maps.Keys(w.fields))
	if *updateFields {
		if err := os.WriteFile(golden, []byte(strings.Join(have, "\n")+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	file, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	want := strings.Split(strings.TrimSuffix(string(file), "\n"), "\n")
	for _, name := range want {
		if !w.fields[name] {
			t.Errorf("%s is gone; the names of fields stay", name)
		}
	}
	for _, name := range have {
		if !slices.Contains(want, name) {
			t.Errorf("%s is new; look whether its name can stay, and write it down with -update-fields", name)
		}
	}
}

// demo tells as the demo does; the whole story is TestDemo's.
func (w *asked) demo() {
	var out bytes.Buffer
	s := &stageSet{a: &app{out: &out, format: "json"}, ctx: context.Background(), dir: w.dir}
	s.say("The wheel comes off.")
	s.as("nobody", 2, "whoami")
	if s.show("engine.yaml"); s.err != nil {
		w.Fatal(s.err)
	}
	w.take("demo", &out, []string{"demo"})
	w.done["witnessmark demo"] = true
}

func (w *asked) path(name string) string { return filepath.Join(w.dir, name) }

// openedJob has two submissions' files ready: both go below the published best point, the first further.
func openedJob(w *asked) {
	w.file("found.bin", engineImage(nil))
	one := engineImage(map[[2]int]float64{{4, 7}: 200, {3, 8}: 255})
	one[0x300] = 1 // where no table is
	w.file("one.bin", one)
	w.file("two.bin", engineImage(map[[2]int]float64{{4, 7}: 240.1}))
	w.as("lead", "new key", 0, "key", "new", w.path("more.key"))
	w.as("lead", "person", 0, "person", "enrol", "more", "--role", "calibrator", "--key", w.path("more.key.pub"))
	w.as("lead", "catalog file", 0, "definition", "add", w.file("engine.yaml", []byte(engineDefinition)))
	w.as("lead", "catalog file", 0, "limits", "add", w.file("limits.yaml", []byte(engineLimits)))
	w.as("technician", "job", 0, "job", "open", "--car", "HC 18", "--definition", "engine-1.0", "--limits", "engine-plausible", "--fuel", "98 RON",
		"--frame", "WTM-1-0042", "--part", "larger intercooler", "--note", "hill climb", "--number", "crank_pulley_mm=180")
	w.as("technician", "read", 0, "read", "add", "1", w.path("two.bin"))
	w.as("technician", "job", 0, "read", "void", "1.read1", "--because", "another car's")
	w.as("technician", "read", 0, "read", "add", "1", w.path("found.bin"))
	w.as("technician", "job", 0, "job", "amend", "1", "--car", "HC 81")
	run := w.file("pull.csv", pulled(250, "torque [N.m]"))
	w.as("technician", "run", 0, "run", "add", "1", run, "--when", "before")
	w.as("technician", "run", 0, "run", "add", "1", w.file("pull-after.csv", pulled(280, "torque [N.m]")), "--when", "after")
}

func wholeVisit(w *asked) {
	submit := func(file string, more ...string) []string {
		return append([]string{"submit", "1", w.path(file), "--note", "leaner at the best point", "--meant", "fuel"}, more...)
	}
	w.as("calibrator", "submission", 0, submit("one.bin")...)
	w.as("lead", "submission", 0, "return", "1.1", "--because", "fuel-floor:fuel: a slip")
	w.as("calibrator", "submission", 0, submit("one.bin", "--from", "1.1")...)
	w.as("calibrator", "submission", 0, "withdraw", "1.2")
	w.as("calibrator", "submission", 0, submit("two.bin", "--from", "1.1")...)
	w.as("calibrator", "working copy", 0, "get", "1.3", "--out", w.path("bench.s19"))
	w.as("calibrator", "sheet", 0, "sheet", "1.3", "--since", "1.1")
	w.as("lead", "tray", 0, "tray")
	w.as("calibrator", "", 2, "sign", "1.3")
	w.as("lead", "submission", 0, "sign", "1.3", "--because", "fuel-floor:fuel=watched")
	w.as("technician", "submission", 0, "collect", "1", "--out", w.path("f.bin"))
	w.as("technician", "submission", 0, "verify", w.path("f.bin.proof.zip"))
	w.as("technician", "read", 0, "collect", "1", "--as-found", "--out", w.path("back.bin"))
	w.as("technician", "read-back", 1, "readback", "1", w.path("one.bin"))
	w.as("calibrator", "tray", 1, "tray")
	w.as("technician", "read-back", 0, "readback", "1", w.path("two.bin"))
	w.as("calibrator", "note", 0, "note", "1.3", "fuel", "how did it pull?", "--file", w.path("engine.yaml"))
	w.as("technician", "notes", 0, "note", "show", "1")
	w.as("technician", "read's sheet", 0, "sheet", "1.read2")
	w.as("technician", "read-back's sheet", 0, "sheet", "1.back1")
	w.as("technician", "outcome", 0, "outcome", "1")
	w.as("technician", "job", 0, "job", "close", "1", "--as", "done")
	w.as("technician", "job", 0, "job", "reopen", "1", "--because", "a rattle")
}

// onRollingRoad has a corridor release one map, and another wait.
func onRollingRoad(w *asked) {
	w.file("three.bin", engineImage(map[[2]int]float64{{4, 7}: 250}))
	w.file("four.bin", engineImage(map[[2]int]float64{{4, 7}: 256, {3, 8}: 266}))
	w.as("lead", "corridor", 0, "corridor", "open", "1", "--author", "calibrator", "--table", "fuel=8:8", "--maps", "5", "--yes")
	w.as("calibrator", "submission", 0, "submit", "1", w.path("three.bin"), "--note", "in it", "--meant", "fuel")
	w.as("calibrator", "submission", 0, "submit", "1", w.path("four.bin"), "--note", "out of it", "--meant", "fuel")
	w.as("calibrator", "sheet", 0, "sheet", "1.4")
	w.as("calibrator", "sheet", 0, "sheet", "1.5")
	w.as("technician", "submission", 0, "collect", "1.4", "--out", w.path("road.bin"))
	w.as("technician", "submission", 0, "verify", w.path("road.bin.proof.zip"))
	w.as("technician", "run", 0, "run", "add", "1", w.file("pull-road.csv", pulled(285, "torque [N.m]")), "--when", "after")
	w.as("technician", "corridors", 0, "corridor", "show", "1")
	w.as("technician", "corridor", 1, "corridor", "close", "1", "--keep", "1.4")
	w.as("technician", "read-back", 0, "readback", "1", w.path("three.bin"))
	w.as("lead", "submission", 0, "sign", "1.4")
}

func lookedAt(w *asked) {
	w.as("technician", "job", 0, "job", "show", "1")
	w.as("technician", "jobs", 0, "job", "list")
	w.as("technician", "search", 0, "search", "larger")
	w.as("technician", "catalog", 0, "definition", "list")
	w.as("technician", "catalog", 0, "limits", "list")
	w.as("technician", "document", 0, "definition", "show", "engine-1.0")
	w.as("technician", "document", 0, "limits", "show", "engine-plausible")
	w.as("technician", "people", 0, "person", "list")
	w.as("technician", "person", 0, "whoami")
	w.as("technician", "history", 0, "history", "HC 81")
	w.as("technician", "head", 0, "ledger", "head")
	w.as("technician", "entries", 0, "ledger", "list")
	w.as("technician", "verified ledger", 0, "ledger", "verify")
	w.as("technician", "runs of a job", 0, "run", "list", "1")
	w.as("technician", "desk", 0, "desk", "--no-open")
	w.as("technician", "check-up", 1, "check-up") // there was no backup
	w.as("lead", "backup", 0, "backup", "--out", w.path("backup"))
}

func withoutServer(w *asked) {
	definition, limits := "--definition="+w.path("engine.yaml"), "--limits="+w.path("limits.yaml")
	w.as("nobody", "report", 1, "compare", w.path("found.bin"), w.path("one.bin"), definition, limits)
	w.as("nobody", "report", 0, "check", w.path("found.bin"), definition, limits)
	w.as("nobody", "inspection", 0, "inspect", w.path("found.bin"), definition)
	w.as("nobody", "image", 0, "convert", w.path("found.bin"), w.path("found.hex"))
	engine, err := os.ReadFile(w.path("found.bin"))
	if err != nil {
		w.Fatal(err)
	}
	engine[0x140]++
	twice := strings.Replace(engineDefinition, "checksums:\n", "checksums:\n  - {id: short, algorithm: sum-8, over: [{start: 0x80100, end: 0x80200}], stored: {address: 0x803f0, type: u8}}\n", 1)
	w.as("nobody", "fixed", 0, "checksum", "fix", w.file("wrong.bin", engine), "--definition="+w.file("twice.yaml", []byte(twice)), "--only=sum", "--out", w.path("fixed.bin"))
	w.as("nobody", "carried", 0, "definition", "carry", w.path("engine.yaml"), "--from", w.path("found.bin"), "--to", w.path("found.bin"), "--out", w.path("carried.yaml"))
	w.as("nobody", "imported", 1, "definition", "import", w.file("car.a2l", []byte(described)), "--out", w.path("imported"))
	w.as("nobody", "imported", 1, "definition", "import", w.path("car.a2l"), "--out", w.path("again"), "--image", w.file("car.s19", []byte(described19)))
	w.as("nobody", "exported", 1, "definition", "export", w.path("engine.yaml"), "--csv", "--out", w.path("engine.csv"))
	w.as("nobody", "run summary", 0, "run", "show", w.path("pull.csv"))
	gain := []string{"run", "gain"}
	for i, torque := range []float64{250, 250.4, 250.9, 280, 280.4, 280.9} {
		gain = append(gain, []string{"--before", "--after"}[i/3], w.file(fmt.Sprintf("gain-%d.csv", i), pulled(torque, "torque [N.m]")))
	}
	w.as("nobody", "gain", 0, gain...)
	w.as("nobody", "reckoned", 1, "reckon", "blower", "--crank", "180", "--pulley", "75", "--engine-speed", "6500", "--rotor-limit", "15000")
	w.as("nobody", "reckoned", 0, "reckon", "compressor", "--inlet", "14.85", "--pressure-ratio", "1.6", "--efficiency", "0.74")
	w.as("nobody", "reckoned", 0, "reckon", "airflow", "--displacement", "2", "--engine-speed", "6000", "--efficiency", "0.9")
	w.as("nobody", "reckoned", 0, "reckon", "injector", "--air-flow", "400", "--lambda", "0.85", "--stoichiometric", "14.7", "--injectors", "4", "--flow", "550", "--density", "0.745")
	w.as("nobody", "reckoned", 0, "reckon", "pressure", "--gauge", "80", "--ambient", "84.5")
	w.as("nobody", "reckoned", 0, "reckon", "duty", "--pulse-width", "15", "--engine-speed", "6000")
	w.as("nobody", "reckoned", 0, "reckon", "load", "--torque", "300", "--displacement", "1.8", "--engine-speed", "4000")
	w.as("nobody", "reckoned", 0, "reckon", "cooler", "--inlet", "120", "--coolant", "25", "--effectiveness", "0.7")
	w.as("nobody", "reckoned", 0, "reckon", "choke", "--diameter", "34")
	w.as("nobody", "reckoned", 0, "reckon", "mixture", "--fuel", "petrol")
	car, other := w.file("car.bin", make([]byte, 16)), w.file("other.bin", append([]byte{9}, make([]byte, 15)...))
	definition = "--definition=" + w.file("car.yaml", []byte(signalled))
	w.as("nobody", "signal", 0, "signal", "show", car, definition, "--at", "engine_speed=2000")
	w.as("nobody", "report", 0, "compare", car, other, definition)
	observed := strings.Replace(engineDefinition, "role: transfer", "role: transfer\n    observed: {channel: fuel_used}", 1)
	w.as("nobody", "run check", 1, "run", "check", w.file("used.csv", bytes.ReplaceAll(pulled(100, "torque [N.m]"), []byte("pedal_position [%]"), []byte("fuel_used [g/(kW.h)]"))), "--image", w.path("found.bin"), "--limits="+w.path("limits.yaml"),
		"--definition="+w.file("observed.yaml", []byte(observed)))
	w.as("nobody", "doubts", 1, "definition", "check", w.file("doubtful.yaml", []byte(strings.Replace(signalled, "unit: deg, stored", "unit: degree, stored", 1))))
	w.as("nobody", "doubts", 2, "limits", "check", w.path("limits.yaml"), definition)
	w.as("nobody", "proposed", 1, "limits", "propose", "--definition="+filepath.Join("..", "..", "testdata", "demo", "dx1-1.8t.yaml"), "--out", w.path("start.yaml"))
	w.demo()
	w.as("nobody", "", 2, "nonsense")
	w.as("nobody", "", 2, "job", "list", "--nonsense")
}

// described is a controller's description with something in it that is left out, and described19 an image for it that looks wrong.
const (
	described = `/begin PROJECT p "" /begin MODULE Car "" /begin MOD_COMMON "" BYTE_ORDER MSB_FIRST /end MOD_COMMON
/begin RECORD_LAYOUT L AXIS_PTS_X 1 UBYTE INDEX_INCR DIRECT FNC_VALUES 2 UBYTE ROW_DIR DIRECT /end RECORD_LAYOUT
/begin CHARACTERISTIC Boost "" CURVE 0x10 L 0 NO_COMPU_METHOD 0 200 /begin AXIS_DESCR STD_AXIS n NO_COMPU_METHOD 3 0 255 /end AXIS_DESCR /end CHARACTERISTIC
/begin CHARACTERISTIC Virtual "" VALUE 0 L 0 NO_COMPU_METHOD 0 1 /begin VIRTUAL_CHARACTERISTIC "X1" Boost /end VIRTUAL_CHARACTERISTIC /end CHARACTERISTIC
/end MODULE /end PROJECT`
	described19 = "S1090010010301010203DB\nS9030000FC\n"
)

// signalled is a definition with a signal.
const signalled = `name: car
byte_order: big
image: {size: 16}
tables:
  - {id: hot, quantity: ignition_advance, unit: deg, stored: {address: 0, type: s8}, x: {quantity: engine_speed, unit: 1/min, points: [1000, 3000]}}
signals:
  - {id: plug, quantity: ignition_advance, unit: deg, value: "table('hot') + 1.0"}
inputs:
  - {quantity: engine_speed, unit: 1/min, from: 1000, to: 4000}
`

func ended(w *asked) {
	w.as("lead", "submission", 1, "return", "1.4", "--because", "the wheel is another one")
	w.as("technician", "job", 0, "job", "open", "--car", "HC 81", "--definition", "engine-1.0", "--limits", "engine-plausible", "--fuel", "98 RON")
	w.as("technician", "read", 1, "read", "add", "2", w.path("one.bin"))
	w.as("technician", "read's sheet", 0, "sheet", "2.read1")
	w.as("lead", "job", 0, "settle", "2.read1", "changed-since", "--because", "the owner's own")
	w.as("technician", "job", 0, "job", "close", "2", "--as", "cancelled", "--because", "it never came")
	w.as("lead", "job", 0, "erase", "2", "--images", "--because", "the owner asked")
	w.as("lead", "person", 0, "person", "retire", "more")
	config, err := (&client.Home{Dir: w.path("lead")}).Config()
	if err != nil {
		w.Fatal(err)
	}
	genesis, err := hex.DecodeString(config.Genesis)
	if err != nil {
		w.Fatal(err)
	}
	print := signoff.HashFingerprint([32]byte(genesis))
	w.as("lead", "person", 0, "login", config.Server, "--key", w.path("lead.key"), "--fingerprint", print)
	w.as("lead", "invitation", 0, "person", "invite")
	line := client.Invitation{Addresses: []string{config.Server}, Fingerprint: print, Head: client.Head{Size: 1, Root: config.Genesis}}.String()
	w.as("joiner", "introduction", 0, "join", line, "--name", "joiner", "--role", "technician", "--no-wait")
	w.as("more", "", 2, "login", "127.0.0.1:1", "--key", w.path("more.key"), "--fingerprint", "SHA256:x")
}
