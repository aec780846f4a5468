//go:build unix

package main

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"os"
	"os/exec"
	"path/filepath"
	"runtime/debug"
	"strings"
	"testing"
	"time"
)

// hexRecord is a line of Intel HEX.
func hexRecord(address uint16, kind byte, data ...byte) string {
	b := append([]byte{byte(len(data)), byte(address >> 8), byte(address), kind}, data...)
	sum := byte(0)
	for _, c := range b {
		sum -= c
	}
	return fmt.Sprintf(":%X%02X\n", b, sum)
}

// s3Record is a line of an S-record file with an address of 32 bits.
func s3Record(address uint32, data ...byte) string {
	b := append(binary.BigEndian.AppendUint32([]byte{byte(5 + len(data))}, address), data...)
	sum := byte(0xff)
	for _, c := range b {
		sum -= c
	}
	return fmt.Sprintf("S3%X%02X\n", b, sum)
}

// bomb is a zip of seven files with a proof's names, each of which says, or unpacks to, much more than it has.
func bomb(t *testing.T, method uint16, content []byte, says uint64) []byte {
	t.Helper()
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, name := range []string{"image.bin", "definition.yaml", "limits.yaml", "report.pb", "openings.pb", "entries.pb", "checkpoint.txt"} {
		h := &zip.FileHeader{Name: name, Method: method}
		if says == 0 {
			w, err := z.CreateHeader(h)
			if err == nil {
				_, err = w.Write(content)
			}
			if err != nil {
				t.Fatal(err)
			}
			continue
		}
		h.UncompressedSize64, h.CompressedSize64, h.CRC32 = says, uint64(len(content)), crc32.ChecksumIEEE(content)
		w, err := z.CreateRaw(h)
		if err == nil {
			_, err = w.Write(content)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// scattered is bytes with a hole beside each.
func scattered(n int, line func(address uint32) string) []byte {
	var b bytes.Buffer
	for i := range n {
		b.WriteString(line(uint32(2 * i)))
	}
	return b.Bytes()
}

// rules is a limits file with so many rules more.
func rules(lims []byte, n int) []byte {
	b := bytes.NewBuffer(bytes.Clone(lims))
	for i := range n {
		fmt.Fprintf(b, "  - {id: r%d, severity: notice, select: {tables: [ignition.base]}, range: {min: -90, max: 90, unit: deg}, reason: x, source: x}\n", i)
	}
	return b.Bytes()
}

// noBad is a status of 0 or 1: it was done, whatever the answer.
const noBad = -1

// writeHostile writes a file, and keeps nothing of it: a process begins with the memory of the one that starts it.
func writeHostile(t *testing.T, path string, content func() []byte) (size int) {
	t.Helper()
	b := content()
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	size, b = len(b), nil
	debug.FreeOSMemory()
	return size
}

// What a file says of itself is believed no further than its bytes go: each of these ends in one line, and takes no
// more time and memory than a large honest file may. The figures are printed.
func TestHostileInput(t *testing.T) {
	if underRace {
		t.Skip("what a command takes is measured without the race detector, which takes more")
	}
	demo, err := filepath.Abs(filepath.Join("..", "..", "testdata", "demo"))
	if err != nil {
		t.Fatal(err)
	}
	lims, err := os.ReadFile(filepath.Join(demo, "dx1-road-98.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	good := strings.NewReplacer("IMAGE", filepath.Join(demo, "asfound.bin"), "DEFINITION", filepath.Join(demo, "dx1-1.8t.yaml"), "LIMITS", filepath.Join(demo, "dx1-road-98.yaml"))
	t.Setenv("WITNESSMARK_HOME", t.TempDir())
	top, bottom := hexRecord(0, 4, 0xff, 0xff)+hexRecord(0xfff0, 0, 1, 2, 3, 4), hexRecord(0, 0, 1, 2, 3, 4)
	verify := "verify FILE --fingerprint SHA256:AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"
	check := "check FILE --definition DEFINITION --limits LIMITS"
	for _, c := range []struct {
		name, command string
		status        int
		file          func() []byte
	}{
		{"a zip bomb", verify, 1, func() []byte { return bomb(t, zip.Deflate, make([]byte, 64<<20), 0) }},
		{"a zip that says 4 GiB a file", verify, 1, func() []byte { return bomb(t, zip.Store, []byte("x"), 1<<32) }},
		{"a zip that says 2^63 a file", verify, 1, func() []byte { return bomb(t, zip.Store, []byte("x"), 1<<63) }},
		{"a zip of 60,000 files", verify, 1, func() []byte {
			var out bytes.Buffer
			z := zip.NewWriter(&out)
			for i := range 60_000 {
				_, _ = z.Create(fmt.Sprint(i))
			}
			_ = z.Close()
			return out.Bytes()
		}},
		{"HEX from 0 to 4 GiB, as raw", "convert FILE OUT.bin", 2, func() []byte { return []byte(bottom + top + ":00000001FF\n") }},
		{"HEX from 0 to 4 GiB", check, 2, func() []byte { return []byte(bottom + top + ":00000001FF\n") }},
		{"HEX whose records wrap round", check, 2, func() []byte {
			return []byte(hexRecord(0, 4, 0xff, 0xff) + hexRecord(0xfffe, 0, 1, 2, 3, 4) + ":00000001FF\n")
		}},
		{"HEX of 32,768 holes", "convert FILE OUT.bin", 0, func() []byte {
			return append(scattered(1<<15, func(a uint32) string { return hexRecord(uint16(a), 0, 1) }), ":00000001FF\n"...)
		}},
		{"HEX of one line of 64 MiB", check, 2, func() []byte { return bytes.Repeat([]byte(":"), 64<<20) }},
		{"S-record from 0 to 4 GiB, as raw", "convert FILE OUT.bin", 2, func() []byte { return []byte(s3Record(0, 1) + s3Record(0xfffffff0, 1) + "S70500000000FA\n") }},
		{"S-record from 0 to 4 GiB", check, 2, func() []byte { return []byte(s3Record(0, 1) + s3Record(0xfffffff0, 1) + "S70500000000FA\n") }},
		{"S-record of a million holes", "convert FILE OUT.bin", 0, func() []byte {
			return append(scattered(1<<20, func(a uint32) string { return s3Record(a, 1) }), "S70500000000FA\n"...)
		}},
		{"a page as an image", check, 2, func() []byte { return []byte("<!doctype html><script>alert(1)</script>") }},
		{"a PDF as an image", check, 2, func() []byte { return append([]byte("%PDF-1.7\n"), make([]byte, 1<<20)...) }},
		{"deep YAML", "definition check FILE", 2, func() []byte { return bytes.Repeat([]byte("["), 1<<20) }},
		{"deep YAML of mappings", "definition check FILE", 2, func() []byte { return []byte(strings.Repeat("{a: ", 1<<18)) }},
		{"YAML by indentation", "definition check FILE", 2, func() []byte { return []byte(strings.Repeat("- ", 1<<18)) }},
		{"YAML that stands for itself", "definition check FILE", 2, func() []byte {
			b := "a0: &a0 [x, x]\n"
			for i := 1; i < 64; i++ {
				b += fmt.Sprintf("a%d: &a%d [*a%d, *a%d, *a%d, *a%d]\n", i, i, i-1, i-1, i-1, i-1)
			}
			return []byte(b)
		}},
		{"more rules than a file may hold", "limits check FILE --definition DEFINITION", 2, func() []byte { return rules(lims, 140_000) }},
		{"60,000 rules", "limits check FILE --definition DEFINITION", noBad, func() []byte { return rules(lims, 60_000) }},
		{"60,000 rules, judged", "check IMAGE --definition DEFINITION --limits FILE", noBad, func() []byte { return rules(lims, 60_000) }},
		{"a table of four thousand million cells", "definition check FILE", 2, func() []byte {
			return []byte("name: x\nbyte_order: big\nimage: {start: 0x0, size: 0x100}\ntables:\n  - {id: a, quantity: ratio, unit: '1', stored: {address: 0x0, type: u8}, x: {quantity: ratio, unit: '1', stored: {address: 0, type: u8, count: 4294967295}}}\n")
		}},
		{"an image of 4 GiB", "definition check FILE", 2, func() []byte {
			return []byte("name: x\nbyte_order: big\nimage: {start: 0x0, size: 0xffffffff}\ntables: []\n")
		}},
		{"a wide run", "run show FILE", 2, func() []byte {
			return []byte("time [s]" + strings.Repeat(",x", 1<<22) + "\n" + strings.Repeat("1,", 1<<22) + "\n")
		}},
		{"a run of one quoted cell", "run show FILE", 2, func() []byte { return append([]byte("time [s],engine_speed [1/min]\n\""), make([]byte, 64<<20)...) }},
		{"a run of blank lines", "run show FILE", 2, func() []byte { return bytes.Repeat([]byte("\n"), 64<<20) }},
		{"a run of numbers beyond all", "run show FILE", 2, func() []byte {
			return []byte("time [s],engine_speed [1/min],torque [N.m]\n" + strings.Repeat("1e999,1e308,-1e308\n", 1000))
		}},
	} {
		file := filepath.Join(t.TempDir(), "hostile")
		size := writeHostile(t, file, c.file)
		args := strings.Fields(c.command)
		for i := range args {
			args[i] = strings.NewReplacer("FILE", file, "OUT", file).Replace(good.Replace(args[i]))
		}
		cmd := exec.Command("witnessmark", args...)
		var said bytes.Buffer
		cmd.Stderr = &said
		began := time.Now()
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		stuck := time.AfterFunc(3*time.Minute, func() { _ = cmd.Process.Kill() })
		_ = cmd.Wait()
		stuck.Stop()
		t.Logf("%-45s %8d KiB in, %4d MiB, %5.2f s of the processor, %5.2f s: %.90s", c.name, size>>10, maxRSS(cmd)>>20,
			(cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds(), time.Since(began).Seconds(), strings.TrimPrefix(said.String(), "witnessmark: "))
		if got := cmd.ProcessState.ExitCode(); got != c.status && (c.status != noBad || got != 0 && got != 1) {
			t.Errorf("%s: status %d, want %d: %.300s", c.name, got, c.status, said.String())
		}
		if lines := strings.Count(said.String(), "\n"); lines > 2 || said.Len() > 4000 {
			t.Errorf("%s: %d lines, %d bytes were said", c.name, lines, said.Len())
		}
		if maxRSS(cmd) > 2<<30 {
			t.Errorf("%s: it took %d MiB", c.name, maxRSS(cmd)>>20)
		}
		_ = os.Remove(file)
	}
}
