package image

import (
	"bytes"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// objcopy runs GNU objcopy, or skips the test where it is not installed.
func objcopy(t *testing.T, args ...string) {
	t.Helper()
	path, err := exec.LookPath("objcopy")
	if err != nil {
		t.Skip("objcopy is not installed, so nothing is checked against it; install the package binutils (Debian: apt-get install binutils)")
	}
	if out, err := exec.Command(path, args...).CombinedOutput(); err != nil {
		t.Fatalf("objcopy %s: %v\n%s", strings.Join(args, " "), err, out)
	}
}

// twoSegments is 307,200 bytes in two pieces with a 32 KiB hole, moved up by base.
func twoSegments(base uint64) *File {
	random := rand.New(rand.NewPCG(7, 7))
	piece := func(address uint64, size int) Segment {
		data := make([]byte, size)
		for i := range data {
			data[i] = byte(random.Uint32())
		}
		return Segment{base + address, data}
	}
	return &File{Segments: []Segment{piece(0x80000, 196608), piece(0xB8000, 110592)}}
}

func write(t *testing.T, path string, data []byte) {
	t.Helper()
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
}

func read(t *testing.T, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func encode(t *testing.T, im *File, f Format) []byte {
	t.Helper()
	file, err := im.Encode(f)
	if err != nil {
		t.Fatal(err)
	}
	return file
}

// objcopy reads what we write, and writes raw bytes that equal ours.
func TestObjcopyReadsOurFiles(t *testing.T) {
	dir := t.TempDir()
	for _, base := range []uint64{0, 0x60000, 0x80000000} { // below, across and above 1 MiB
		im := twoSegments(base)
		want := encode(t, im, Raw)
		if len(want) != 339968 {
			t.Fatalf("raw file of %d bytes", len(want))
		}
		for _, f := range []Format{IHex, SRec} {
			in, out := filepath.Join(dir, "in"), filepath.Join(dir, "out")
			write(t, in, encode(t, im, f))
			objcopy(t, "-I", string(f), "-O", "binary", "--gap-fill", "0xff", in, out)
			if !bytes.Equal(read(t, out), want) {
				t.Errorf("base %#x: objcopy reads our %s as other bytes", base, f)
			}
		}
	}
}

// What objcopy writes (types 02 and 04 in one file, one section per extended record) comes
// out as the two pieces that went in.
func TestWeReadObjcopysFiles(t *testing.T) {
	dir := t.TempDir()
	for _, base := range []uint64{0, 0x60000, 0x80000000} {
		im := twoSegments(base)
		in, out := filepath.Join(dir, "in"), filepath.Join(dir, "out")
		write(t, in, encode(t, im, SRec))
		for _, args := range [][]string{{"-O", "ihex"}, {"-O", "srec"}, {"-O", "srec", "--srec-forceS3"}} {
			objcopy(t, append(append([]string{"-I", "srec"}, args...), in, out)...)
			back, err := Decode("objcopy's file", read(t, out), "", 0)
			if err != nil {
				t.Fatalf("base %#x %v: %v", base, args, err)
			}
			if string(back.Format) != args[1] {
				t.Errorf("%v detected as %s", args, back.Format)
			}
			sameImage(t, back, im)
		}
	}
}

func TestObjcopyStartAddress(t *testing.T) {
	dir := t.TempDir()
	in, out := filepath.Join(dir, "in"), filepath.Join(dir, "out")
	for _, start := range []uint32{0xFFFC, 0x80000000} {
		im := &File{Segments: []Segment{{0x100, []byte("some bytes")}}, Start: &Start{Address: start}}
		write(t, in, encode(t, im, SRec))
		objcopy(t, "-I", "srec", "-O", "ihex", in, out)
		back, err := Decode("objcopy's file", read(t, out), "", 0)
		if err != nil {
			t.Fatal(err)
		}
		if back.Start == nil || back.Start.Linear() != start {
			t.Errorf("start %#x came back as %+v", start, back.Start)
		}
	}
}
