package server

import (
	"bytes"
	"crypto/ed25519"
	crypto "crypto/rand"
	"encoding/binary"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"witnessmark/store/record"
	"witnessmark/store/storetest"
)

// What a disk writes whole, at the least; and where bbolt keeps, in its two meta pages, how many pages are in
// use and the number of the commit: from its source, internal/common/meta.go of v1.5.0.
const (
	sector   = 512
	pagesAt  = 56
	commitAt = 64
)

var pageSize = os.Getpagesize()

// newestMeta is the offset of the meta page of a store's last commit.
func newestMeta(file []byte) int {
	if binary.NativeEndian.Uint64(file[commitAt:]) > binary.NativeEndian.Uint64(file[pageSize+commitAt:]) {
		return 0
	}
	return pageSize
}

// inUse is a store's file without the room behind it that it may grow into.
func inUse(file []byte) []byte {
	return file[:int(binary.NativeEndian.Uint64(file[newestMeta(file)+pagesAt:]))*pageSize]
}

// moment is what lay in a server's folder between two commits.
type moment struct {
	file, note []byte
	head       string
}

func (w *workshop) moment() (m moment) {
	w.Helper()
	w.quiet()
	file := fileBytes(w, filepath.Join(w.dir, storeFile))
	m.file = inUse(file)
	m.note = fileBytes(w, filepath.Join(w.dir, checkpointFile))
	w.look(func(s *record.State) { m.head = headOf(s) })
	return m
}

// crash is one commit, and images of what may be on the disk after the power was cut in it. A commit writes
// its pages, syncs, writes one meta page, syncs; only then is the checkpoint written.
type crash struct {
	t             *testing.T
	r             *rand.Rand
	dir           string // where images are looked at
	before, after moment
	changed       []int // offsets of pages, but for the meta page
	meta          int
	images        map[string]int
}

func newCrash(t *testing.T, r *rand.Rand, key []byte, before, after moment) *crash {
	c := &crash{t: t, r: r, dir: t.TempDir(), before: before, after: after, meta: newestMeta(after.file), images: map[string]int{}}
	if err := os.WriteFile(filepath.Join(c.dir, keyFile), key, 0o600); err != nil {
		t.Fatal(err)
	}
	for at := 2 * pageSize; at < len(after.file); at += pageSize {
		if at >= len(before.file) || !bytes.Equal(before.file[at:at+pageSize], after.file[at:at+pageSize]) {
			c.changed = append(c.changed, at)
		}
	}
	return c
}

// subsets are all subsets of the changed pages, as bits, where those are no more than most; else some.
func (c *crash) subsets(most int) (out []uint64) {
	if n := len(c.changed); n <= most {
		for set := range uint64(1) << n {
			out = append(out, set)
		}
		return out
	}
	for range most {
		out = append(out, c.r.Uint64()|c.r.Uint64()) // of most of them, as a disk nearly done
	}
	return out
}

// image is the old file with those of the changed pages; in the one at torn, only some sectors.
func (c *crash) image(set uint64, torn int) []byte {
	img := bytes.Clone(c.before.file)
	if more := len(c.after.file) - len(img); more > 0 {
		img = append(img, make([]byte, more)...)
	}
	for i, at := range c.changed {
		for s := at; s < at+pageSize; s += sector {
			if set>>(i%64)&1 == 1 && (i != torn || c.r.IntN(2) == 0) {
				copy(img[s:s+sector], c.after.file[s:])
			}
		}
	}
	return img
}

// withMeta has the first sectors of the new meta page in an image.
func (c *crash) withMeta(img []byte, sectors int) []byte {
	copy(img[c.meta:c.meta+sectors*sector], c.after.file[c.meta:])
	return img
}

// look is what check says of an image: the head, or what is wrong.
func (c *crash) look(img, note []byte) (head, wrong string) {
	c.t.Helper()
	for name, b := range map[string][]byte{storeFile: img, checkpointFile: note} {
		if err := os.WriteFile(filepath.Join(c.dir, name), b, 0o600); err != nil {
			c.t.Fatal(err)
		}
	}
	out, err := in(c.dir).Check()
	if err != nil {
		return "", err.Error()
	}
	return out.Head, strings.Join(out.Found, "; ")
}

func (c *crash) want(what string, img, note []byte, head string) {
	c.t.Helper()
	c.images[what]++
	if got, wrong := c.look(img, note); got != head || wrong != "" {
		c.t.Fatalf("%s: check says %.20s %.300s, want %.20s and nothing wrong", what, got, wrong, head)
	}
}

const everything = ^uint64(0)

// run looks at images of the commit: of every subset of its pages, where they are no more than most.
func (c *crash) run(most int) {
	c.t.Helper()
	for _, set := range c.subsets(most) {
		// Before the first sync: any sectors of the pages, the old meta page.
		c.want("among the pages", c.image(set, c.r.IntN(2*len(c.changed))), c.before.note, c.before.head)
		c.control(set)
	}
	c.goesOn(c.image(c.r.Uint64(), -1))
	for sectors := range pageSize/sector + 1 { // before the second
		head := c.after.head
		if sectors == 0 {
			head = c.before.head
		}
		c.want("in the meta page", c.withMeta(c.image(everything, -1), sectors), c.before.note, head)
	}
	c.want("before the checkpoint", c.after.file, c.before.note, c.after.head)
	c.want("after it", c.after.file, c.after.note, c.after.head)
	c.images["taken back"]++
	if _, wrong := c.look(c.image(everything, -1), c.after.note); !strings.Contains(wrong, "behind its checkpoint") {
		c.t.Fatalf("what was acknowledged is not there, and check says %q", wrong)
	}
}

// goesOn serves what a crash left, and adds to it.
func (c *crash) goesOn(img []byte) {
	c.t.Helper()
	c.look(img, c.before.note)
	w := &workshop{TB: c.t, dir: c.dir, logs: &lockedBuffer{}, keys: map[string]ed25519.PrivateKey{"lead": testKey("lead")}}
	w.start()
	w.enrol(crypto.Text(), "technician")
	w.stop()
	c.images["gone on from"]++
	if out, err := in(c.dir).Check(); err != nil || len(out.Found) > 0 {
		c.t.Fatalf("after it went on: %+v %v", out, err)
	}
}

// control is what a store that does not sync its pages before its meta page would leave. It is noticed, unless
// the pages that are missing held nothing that was used.
func (c *crash) control(set uint64) {
	c.t.Helper()
	img := c.withMeta(c.image(set, -1), 1)
	if bytes.Equal(img[2*pageSize:], c.after.file[2*pageSize:]) {
		return
	}
	note := c.before.note
	if c.r.IntN(2) == 0 {
		note = c.after.note
	}
	head, wrong := c.look(img, note)
	switch {
	case wrong != "":
		c.images["control: noticed"]++
	case head == c.after.head:
		c.images["control: nothing was missing"]++
	default:
		c.t.Fatalf("a meta page before its pages: check says %.20s and that all is well", head)
	}
}

// TestCrashImages cuts the power in each of a few commits, everywhere. What is left is the state before or the
// one after, and check says which.
func TestCrashImages(t *testing.T) {
	r := storetest.Rand(t)
	b := &bench{workshop: staffed(t)}
	moments := []moment{b.moment()}
	then := func(act func()) {
		act()
		moments = append(moments, b.moment())
	}
	then(func() { b.enrol("apprentice", "technician") })
	then(func() { b.must("lead", retireAction("apprentice")) })
	b.stop()
	all, most := map[string]int{}, 6
	if storetest.Long(t, 0) > 0 {
		most = 12
	}
	every := func() {
		key := fileBytes(t, filepath.Join(b.dir, keyFile))
		for i := range len(moments) - 1 {
			c := newCrash(t, r, key, moments[i], moments[i+1])
			c.run(most)
			for what, n := range c.images {
				all[what] += n
			}
			t.Logf("a commit of %d pages: %v", len(c.changed), c.images)
		}
	}
	every()
	b = newSmallBench(t) // and commits of many pages
	b.smallJob(1)
	moments = []moment{b.moment()}
	for _, size := range []int{1, 20_000, 300_000} {
		film := make([]byte, size)
		for i := range film {
			film[i] = byte(r.Uint32())
		}
		note, o := b.note(1, "seen on the hill", film)
		then(func() { b.act("technician", note, o...) })
	}
	sub, o := b.submit(1, smallMap(1))
	then(func() { b.act("calibrator", sub, o...) })
	then(func() { b.act("lead", b.sign(1, 1)) })
	b.stop()
	storetest.During(t, 0, every)
	t.Log(all)
	if all["control: noticed"] == 0 {
		t.Error("the controls damage nothing")
	}
}
