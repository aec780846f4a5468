package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"witnessmark/server"
	"witnessmark/store/signoff"
)

// A real engine's map, from outside: brake specific fuel consumption in g/(kW.h) of a 1.0 l
// spark ignition engine. Source: FC_SI41_emis.m of ADVISOR, National Renewable Energy
// Laboratory, Copyright (c) Alliance for Sustainable Energy, LLC; the file marks its data
// as non-proprietary. Rows are speeds in rad/s, columns torques in N.m.
var (
	engineSpeeds  = []float64{104.5, 149.2, 220.9, 292.5, 364.1, 435.7, 507.4, 552.2, 596.9}
	engineTorques = []float64{6.8, 13.6, 20.4, 27.2, 33.8, 40.6, 47.4, 54.2, 61, 67.8, 74.6, 81.4}
	engineFuel    = [][]float64{
		{635.7, 635.7, 541.4, 447.2, 352.9, 332.2, 311.4, 322.4, 333.5, 333.5, 333.5, 333.5},
		{678.4, 500.1, 443.8, 387.4, 331.1, 301.8, 297, 283.4, 269.8, 358, 358, 358},
		{463.4, 463.4, 407.6, 350.1, 294.3, 280.8, 267.3, 253.9, 269.8, 303.2, 336.7, 336.7},
		{699.1, 567.9, 500.3, 432.7, 301.4, 283.9, 266.3, 248.7, 258.8, 268.8, 271.9, 317.9},
		{592.9, 592.9, 494.6, 393.4, 295.1, 279.4, 263.6, 247.9, 255.2, 262.5, 295, 322.6},
		{667.9, 524.8, 381.6, 351.9, 322.2, 304.9, 287.5, 270.8, 290.8, 310.9, 330.9, 330.9},
		{630.6, 630.6, 522.5, 411.1, 303, 304.4, 305.8, 304.2, 314.5, 324.8, 327.7, 327.7},
		{698.4, 500.5, 428.6, 392.7, 356.8, 337.9, 328.4, 319, 328.8, 338.6, 333.7, 333.7},
		{751.1, 637.8, 521.1, 407.8, 393.1, 378.4, 363.3, 348.2, 318.8, 340.2, 340.2, 340.2},
	}
)

const (
	engineStart = 0x80000
	engineSize  = 0x400

	engineDefinition = `name: engine-1.0
byte_order: little
image: {start: 0x80000, size: 0x400, segments: [{start: 0x80000, end: 0x80400, content: calibration}]}
identity:
  - {id: software, address: 0x80000, length: 8, encoding: ascii, expect: "NREL-1.0"}
axes:
  - {id: speed, quantity: engine_speed, unit: rad/s, stored: {address: 0x80100, type: u16, count: 9}, conversion: {factor: 0.1}}
  - {id: torque, quantity: torque, unit: N.m, stored: {address: 0x80120, type: u16, count: 12}, conversion: {factor: 0.1}}
tables:
  - id: fuel
    title: Brake specific fuel consumption
    quantity: specific_fuel_consumption
    role: transfer
    unit: g/(kW.h)
    stored: {address: 0x80140, type: u16}
    conversion: {factor: 0.1}
    x: {axis: torque}
    y: {axis: speed}
checksums:
  - {id: sum, algorithm: sum-32, over: [{start: 0x80000, end: 0x803fc}], stored: {address: 0x803fc, type: u32}}
`
	engineLimits = `name: engine-plausible
applies_to: [engine-1.0]
rules:
  - {id: fuel-floor, severity: warning, select: {tables: [fuel]}, reason: Below the best point that was published for this engine., source: "NREL ADVISOR FC_SI41_emis.m", range: {unit: g/(kW.h), min: 247.9, max: 800}}
`
)

// engineImage lays the published figures out by hand, little-endian, in tenths.
func engineImage(change map[[2]int]float64) []byte {
	b := bytes.Repeat([]byte{0xFF}, engineSize)
	copy(b, "NREL-1.0")
	put := func(at int, v float64) { binary.LittleEndian.PutUint16(b[at:], uint16(v*10+0.5)) }
	for i, v := range engineSpeeds {
		put(0x100+2*i, v)
	}
	for i, v := range engineTorques {
		put(0x120+2*i, v)
	}
	for r, row := range engineFuel {
		for c, v := range row {
			if w, ok := change[[2]int{r, c}]; ok {
				v = w
			}
			put(0x140+2*(12*r+c), v)
		}
	}
	var sum uint32
	for _, v := range b[:0x3fc] {
		sum += uint32(v)
	}
	binary.LittleEndian.PutUint32(b[0x3fc:], sum)
	return b
}

// workshop is one workshop: a real daemon on loopback and a folder a person.
type workshop struct {
	*testing.T
	dir, addr, fingerprint string
}

// as runs the command as a person and holds its exit status.
func (b *workshop) as(person string, status int, args ...string) string {
	b.Helper()
	b.Setenv("WITNESSMARK_HOME", filepath.Join(b.dir, person))
	var out, errs bytes.Buffer
	if got := execute(args, strings.NewReader(""), &out, &errs); got != status {
		b.Fatalf("%s: witnessmark %s: exit status %d, want %d\n%s%s", person, strings.Join(args, " "), got, status, out.String(), errs.String())
	}
	return out.String() + errs.String()
}

// serve starts a server of a ledger, which stops with the test.
func (b *workshop) serve(place server.Place) *server.Server {
	b.Helper()
	s, err := server.Start(server.Options{Place: place, Listen: "127.0.0.1:0"})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { s.Stop() })
	return s
}

func (b *workshop) file(name string, content []byte) string {
	b.Helper()
	path := filepath.Join(b.dir, name)
	if err := os.WriteFile(path, content, 0o600); err != nil {
		b.Fatal(err)
	}
	return path
}

func newWorkshop(t *testing.T) *workshop { return newWorkshopIn(t, "") }

// newWorkshopIn is one whose server keeps the ledger in a database, where that is named.
func newWorkshopIn(t *testing.T, database string) *workshop {
	b := &workshop{T: t, dir: t.TempDir()}
	for _, p := range []string{"lead", "technician", "calibrator"} {
		b.as(p, 0, "key", "new", filepath.Join(b.dir, p+".key"))
	}
	line, err := os.ReadFile(filepath.Join(b.dir, "lead.key.pub"))
	if err != nil {
		t.Fatal(err)
	}
	key, err := signoff.ParsePublicKey("lead", line)
	if err != nil {
		t.Fatal(err)
	}
	place := server.Place{Dir: filepath.Join(b.dir, "data"), Database: database}
	b.fingerprint, err = place.Init("lead", key, false)
	if err != nil {
		t.Fatal(err)
	}
	b.addr = b.serve(place).Addr()
	login := func(p string) {
		b.as(p, 0, "login", b.addr, "--key", filepath.Join(b.dir, p+".key"), "--fingerprint", b.fingerprint)
	}
	login("lead")
	for _, p := range []string{"technician", "calibrator"} {
		b.as("lead", 0, "person", "enrol", p, "--role", p, "--key", filepath.Join(b.dir, p+".key.pub"))
		login(p)
	}
	return b
}

// The whole path on an image that none of the project's code wrote: the published map, made
// into record files by objcopy, changed in two cells, judged, signed, collected, read back.
func TestPublishedEngineMapFromReadToReadBack(t *testing.T) {
	objcopy, err := exec.LookPath("objcopy")
	if err != nil {
		t.Skip("objcopy is not here: apt-get install binutils")
	}
	b := newWorkshop(t)
	made := func(name, kind string, img []byte) string {
		in, out := b.file(name+".bin", img), filepath.Join(b.dir, name+"."+kind)
		cmd := exec.Command(objcopy, "-I", "binary", "-O", kind, "--change-addresses", fmt.Sprintf("0x%x", engineStart), in, out)
		if msg, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("objcopy: %v: %s", err, msg)
		}
		return out
	}
	found := made("found", "ihex", engineImage(nil))
	// Row 4, column 7 is 247.9 at 364.1 rad/s and 54.2 N.m; row 3, column 8 is 258.8.
	modified := made("modified", "srec", engineImage(map[[2]int]float64{{4, 7}: 240.1, {3, 8}: 255.0}))
	def, lim := b.file("engine.yaml", []byte(engineDefinition)), b.file("limits.yaml", []byte(engineLimits))

	b.as("lead", 0, "definition", "add", def)
	b.as("lead", 0, "limits", "add", lim)
	if got := b.as("technician", 0, "job", "open", "--car", "HC 18", "--definition", "engine-1.0", "--limits", "engine-plausible"); got != "1\n" {
		t.Fatalf("job open printed %q, want the number alone", got)
	}
	b.as("technician", 0, "read", "add", "1", found)
	if got := b.as("calibrator", 0, "submit", "1", modified, "--note", "leaner at the best point", "--meant", "fuel"); got != "1.1 warning\n" {
		t.Fatalf("submit printed %q", got)
	}
	sheet := b.as("lead", 0, "sheet", "1.1")
	for _, want := range []string{"fuel-floor:fuel", "240.1", "247.9", "7.8", "364.1", "54.2"} {
		if !strings.Contains(sheet, want) {
			t.Errorf("the sheet lacks %q:\n%s", want, sheet)
		}
	}
	b.as("calibrator", 2, "sign", "1.1", "--because", "fuel-floor:fuel=mine")
	b.as("technician", 2, "collect", "1", "--out", filepath.Join(b.dir, "early.hex"))
	b.as("lead", 2, "sign", "1.1")
	b.as("lead", 0, "sign", "1.1", "--because", "fuel-floor:fuel=measured on the rolling road")
	out := filepath.Join(b.dir, "release.hex")
	b.as("technician", 0, "collect", "1", "--out", out)
	b.as("technician", 0, "verify", out+".proof.zip")

	// objcopy reads the collected file back: the kind of the read, and the submitted bytes.
	back := filepath.Join(b.dir, "back.bin")
	if msg, err := exec.Command(objcopy, "-I", "ihex", "-O", "binary", out, back).CombinedOutput(); err != nil {
		t.Fatalf("objcopy cannot read what was collected: %v: %s", err, msg)
	}
	got, err := os.ReadFile(back)
	if err != nil {
		t.Fatal(err)
	}
	if want, _ := os.ReadFile(filepath.Join(b.dir, "modified.bin")); !bytes.Equal(got, want) {
		t.Fatal("the collected file does not hold the submitted bytes")
	}
	b.as("technician", 1, "readback", "1", found)
	b.as("technician", 0, "readback", "1", modified)
	if got := b.as("lead", 0, "history", "HC 18", "--table", "fuel"); !strings.Contains(got, "calibrator") || !strings.Contains(got, "lead") {
		t.Errorf("the history does not say who changed and who signed:\n%s", got)
	}
	b.as("lead", 0, "ledger", "verify")
}
