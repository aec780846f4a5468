package store_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"witnessmark/store"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
)

const (
	mapWide, mapHigh = 16, 12
	mapEvery         = 4 << 10 // bytes from one map to the next: what lies between is code
	editedMaps       = 40
)

// car is an image full of maps, every other one of words, the rest of bytes: smooth, as maps are, amid code.
func car(size int) (*definition.Layout, []byte) {
	r := rand.New(rand.NewPCG(14, 0))
	img := image(14, size)
	var y strings.Builder
	fmt.Fprintf(&y, `
name: many
title: Many maps
byte_order: big
image: {start: 0, size: %d}
axes:
  - {id: rpm, quantity: engine_speed, unit: 1/min, stored: {address: 0, type: u16, count: %d}}
  - {id: load, quantity: cylinder_filling, unit: "%%", stored: {address: 64, type: u8, count: %d}}
tables:
`, size, mapWide, mapHigh)
	for i := range mapWide {
		binary.BigEndian.PutUint16(img[2*i:], uint16(800+400*i))
	}
	for i := range mapHigh {
		img[64+i] = byte(10 + 15*i)
	}
	for n := range size / mapEvery {
		at, kind, factor := n*mapEvery+128, "u8", 0.75
		if n%2 == 1 {
			kind, factor = "u16", 0.01
		}
		fmt.Fprintf(&y, "  - {id: t%d, quantity: ignition_advance, unit: deg, x: {axis: rpm}, y: {axis: load}, stored: {address: %d, type: %s}, conversion: {factor: %g}}\n", n, at, kind, factor)
		base, x, y := 20+r.IntN(60), r.IntN(7), r.IntN(7)
		for c := range mapWide * mapHigh {
			put(img, n, c, (base+x*(c%mapWide)+y*(c/mapWide))*(1+n%2*200)+r.IntN(1+n%2*100))
		}
	}
	layout, err := definition.Load("many.yaml", []byte(y.String()))
	if err != nil {
		panic(err)
	}
	return layout, img
}

func cell(img []byte, n, c int) int {
	if at := n*mapEvery + 128; n%2 == 0 {
		return int(img[at+c])
	} else {
		return int(binary.BigEndian.Uint16(img[at+2*c:]))
	}
}

func put(img []byte, n, c, v int) {
	if at := n*mapEvery + 128; n%2 == 0 {
		img[at+c] = byte(v)
	} else {
		binary.BigEndian.PutUint16(img[at+2*c:], uint16(v))
	}
}

// contiguous raises a part of each map by some hundredths; scattered moves as many single cells by a little.
var edits = map[string]func(r *rand.Rand, img []byte, n int){
	"contiguous": func(r *rand.Rand, img []byte, n int) {
		by := 102 + r.IntN(5)
		for y := 2; y < 11; y++ {
			for x := 4; x < 13; x++ {
				c := y*mapWide + x
				put(img, n, c, (cell(img, n, c)*by+50)/100)
			}
		}
	},
	"scattered": func(r *rand.Rand, img []byte, n int) {
		for _, c := range r.Perm(mapWide * mapHigh)[:81] {
			put(img, n, c, cell(img, n, c)+1+r.IntN(9))
		}
	},
}

// visits are ten submissions of a job, each of the read or of the one before.
func visits(read []byte, edit func(*rand.Rand, []byte, int), cumulative bool) (out [][]byte) {
	r := rand.New(rand.NewPCG(14, 1))
	for last := read; len(out) < 10; {
		img := bytes.Clone(last)
		for _, n := range r.Perm(len(read) / mapEvery)[:editedMaps] {
			edit(r, img, n)
		}
		out = append(out, img)
		if cumulative {
			last = img
		}
	}
	return out
}

// gitBytes is what git's pack takes for the images but for the one that it keeps whole, after gc --aggressive.
func gitBytes(t testing.TB, read []byte, submitted [][]byte) (total int) {
	dir := t.TempDir()
	at := 0
	git := func(args ...string) string {
		c := exec.Command("git", append([]string{"-C", dir, "-c", "user.name=x", "-c", "user.email=x@localhost", "-c", "gc.auto=0", "-c", "pack.threads=1"}, args...)...)
		c.Env = append(os.Environ(), "GIT_CONFIG_GLOBAL="+os.DevNull, "GIT_CONFIG_SYSTEM="+os.DevNull,
			fmt.Sprintf("GIT_AUTHOR_DATE=@%d +0000", 1_000_000_000+at), fmt.Sprintf("GIT_COMMITTER_DATE=@%d +0000", 1_000_000_000+at)) // an order of its own
		out, err := c.CombinedOutput()
		if err != nil {
			t.Fatalf("git %s: %v: %s", args[0], err, out)
		}
		return string(out)
	}
	git("init", "--quiet")
	for _, img := range append([][]byte{read}, submitted...) {
		if err := os.WriteFile(filepath.Join(dir, "image"), img, 0o600); err != nil {
			t.Fatal(err)
		}
		at++
		git("add", "image")
		git("commit", "--quiet", "--message", "image")
	}
	git("gc", "--quiet", "--aggressive")
	packs, _ := filepath.Glob(filepath.Join(dir, ".git/objects/pack/*.idx"))
	whole := 0
	for line := range strings.Lines(git("verify-pack", "-v", packs[0])) {
		if f := strings.Fields(line); len(f) > 4 && f[1] == "blob" {
			n, _ := strconv.Atoi(f[3])
			total, whole = total+n, max(whole, n)
		}
	}
	return total - whole
}

func needGit(t testing.TB) {
	if _, err := exec.LookPath("git"); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("git is not installed: apt-get install git")
		}
		t.Skip("git is not installed, so nothing is held against it: apt-get install git")
	}
}

func packedBytes(read []byte, submitted [][]byte) (total int) {
	for _, img := range submitted {
		total += len(store.Pack(img, read, name(read)))
	}
	return total
}

// TestBesideGit: what somebody did to a read takes no more room than in git, which has them all at hand.
func TestBesideGit(t *testing.T) {
	needGit(t)
	_, read := car(1 << 19)
	for what, edit := range edits {
		submitted := visits(read, edit, false)
		if ours, theirs := packedBytes(read, submitted), gitBytes(t, read, submitted); ours > theirs {
			t.Errorf("%s: %d bytes, and git's %d", what, ours, theirs)
		}
	}
}

// BenchmarkGrowth is what ten submissions of one job take in the store, images and reports, in times of what git
// takes for the images. A submission is kept as its difference from the job's read, never from another
// submission: the bytes of one that is built on the one before come again each time, which git's chain spares. Of the
// scattered ones no way of writing can be shorter than 1.3 times git's: a cell is one of nine steps in 81 of 192 places,
// 5.4 bits, and 170,000 cells differ from the read over the ten.
func BenchmarkGrowth(b *testing.B) {
	needGit(b)
	for _, size := range []int{1 << 20, 4 << 20, 16 << 20} {
		layout, read := car(size)
		for what, edit := range edits {
			for _, cumulative := range []bool{false, true} {
				b.Run(fmt.Sprintf("%dMiB/%s/cumulative=%t", size>>20, what, cumulative), func(b *testing.B) {
					submitted := visits(read, edit, cumulative)
					theirs := float64(gitBytes(b, read, submitted))
					images, reports := 0, 0
					for b.Loop() {
						images = packedBytes(read, submitted)
					}
					for _, img := range submitted {
						r, err := compare.Compare(compare.Input{Base: layout.Space.Whole(read), Candidate: layout.Space.Whole(img), Layout: layout})
						if err != nil {
							b.Fatal(err)
						}
						raw, err := proto.Marshal(r)
						if err != nil {
							b.Fatal(err)
						}
						reports += len(store.Pack(raw, nil, ""))
					}
					b.ReportMetric(float64(images)/10, "image-bytes")
					b.ReportMetric(float64(images)/theirs, "x-git")
					b.ReportMetric(float64(reports)/10, "report-bytes")
					b.ReportMetric(float64(reports)/theirs, "report-x-git")
				})
			}
		}
	}
}
