package bolt_test

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/storetest"
)

// sector is what a disk writes whole, at the least.
const sector = 512

// Where bbolt keeps the number of the commit in its two meta pages (behind 16 bytes of page header;
// magic, version, page size, flags; root and sequence; freelist; high-water mark). From its
// source, internal/common/meta.go of v1.5.0.
// before it stands how many pages are in use; behind those bbolt keeps room to grow into.
const (
	pagesAt  = 56
	commitAt = 64
)

// readUsed reads a store's file without its room to grow into.
func readUsed(t testing.TB, path string) []byte {
	t.Helper()
	file := readFile(t, path)
	return file[:int(binary.LittleEndian.Uint64(file[newestMeta(file)+pagesAt:]))*os.Getpagesize()]
}

func readFile(t testing.TB, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// newestMeta is the offset of the meta page of the last commit.
func newestMeta(file []byte) int {
	page := os.Getpagesize()
	if binary.LittleEndian.Uint64(file[commitAt:]) > binary.LittleEndian.Uint64(file[page+commitAt:]) {
		return 0
	}
	return page
}

// reopen opens bytes as a store of their own, and closes it when fn is done.
func reopen(t *testing.T, file []byte) ([]string, error) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "cut.db")
	if err := os.WriteFile(path, file, 0o600); err != nil {
		t.Fatal(err)
	}
	e, err := bolt.Open(path)
	if err != nil {
		return nil, err
	}
	defer e.Close()
	return readEntries(e)
}

// TestPowerCut cuts the power at many points of many commits. A commit writes its pages, syncs,
// writes one meta page, syncs: so before the first sync any sectors of the pages may be there and
// the state is the old one, and before the second a part of the meta page and the state is one of both.
func TestPowerCut(t *testing.T) {
	r := storetest.Rand(t)
	e, path := create(t)
	put(t, e, "entry 0")
	for n := 1; n <= 12; n++ {
		before := readUsed(t, path)
		put(t, e, fmt.Sprintf("entry %d %s", n, strings.Repeat("x", r.IntN(6000))))
		after := readUsed(t, path)
		meta := newestMeta(after)
		for range 4 {
			cut := tear(r, before, after)
			got, err := reopen(t, cut)
			if err != nil || len(got) != n {
				t.Fatalf("cut among the pages of commit %d: %d entries, %v", n, len(got), err)
			}
			cut = bytes.Clone(after)
			kept := r.IntN(os.Getpagesize())
			copy(cut[meta+kept:], before[meta+kept:meta+os.Getpagesize()])
			got, err = reopen(t, cut)
			if err != nil || len(got) != n && len(got) != n+1 {
				t.Fatalf("cut after %d bytes of the meta page of commit %d: %d entries, %v", kept, n, len(got), err)
			}
		}
	}
}

// tear is before with some of after's sectors, of any page but the two meta pages.
func tear(r *rand.Rand, before, after []byte) []byte {
	cut := bytes.Clone(before)
	if more := len(after) - len(before); more > 0 {
		cut = append(cut, make([]byte, more)...)
	}
	for at := 2 * os.Getpagesize(); at+sector <= min(len(cut), len(after)); at += sector {
		if r.IntN(2) == 0 {
			copy(cut[at:at+sector], after[at:at+sector])
		}
	}
	return cut
}

// TestDamagedMetaPageShowsBesideTheSideFile: with its newest meta page damaged the file opens one
// commit behind, without a word. What a server writes after each commit with WriteSynced tells.
func TestDamagedMetaPageShowsBesideTheSideFile(t *testing.T) {
	e, path := create(t)
	side := path + ".checkpoint"
	for i := range 5 {
		put(t, e, fmt.Sprint("entry ", i))
		if err := store.WriteSynced(side, []byte(strconv.Itoa(i+1))); err != nil {
			t.Fatal(err)
		}
	}
	file := readUsed(t, path)
	file[newestMeta(file)+commitAt] ^= 1
	got, err := reopen(t, file)
	if err != nil || len(got) != 4 {
		t.Fatalf("%d entries, %v: bbolt no longer falls back, look again", len(got), err)
	}
	if want, _ := strconv.Atoi(string(readFile(t, side))); want != 5 {
		t.Errorf("the side file says %d", want)
	}
}

// TestDamageIsNoPanic flips bytes anywhere. What is read may be wrong, which the tree and the
// blobs' names tell; but nothing may stop the process.
func TestDamageIsNoPanic(t *testing.T) {
	e, path := create(t)
	for i := range 40 {
		put(t, e, fmt.Sprintf("entry %d %s", i, strings.Repeat("x", 300)))
	}
	file := readUsed(t, path)
	r := rand.New(rand.NewPCG(7, 7))
	refused := 0
	for range 80 {
		bad := bytes.Clone(file)
		for range 1 + r.IntN(20) {
			bad[r.IntN(len(bad))] ^= byte(1 + r.IntN(255))
		}
		if r.IntN(4) == 0 {
			bad = bad[:r.IntN(len(bad))]
		}
		if _, err := reopen(t, bad); err != nil {
			refused++
		}
	}
	if refused == 0 {
		t.Error("no damage was noticed: the test damages nothing")
	}
}

const childStore = "WITNESSMARK_TEST_STORE"

// TestKilledChild is the child of TestKilled: it appends and compacts until it is killed, and says
// each index once its commit is done.
func TestKilledChild(t *testing.T) {
	path := os.Getenv(childStore)
	if path == "" {
		t.Skip("runs as a child of TestKilled")
	}
	e, err := bolt.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; ; i++ {
		if err := appendEntry(e, fmt.Sprintf("entry %d %s", i, strings.Repeat("x", i%5000))); err != nil {
			t.Fatal(err)
		}
		fmt.Printf("done %d\n", i)
		if err := e.Compact(); err != nil {
			t.Fatal(err)
		}
	}
}

// TestKilled shows that nothing acknowledged is lost with the process; that nothing is lost with
// the power is TestPowerCut's.
func TestKilled(t *testing.T) {
	e, path := create(t)
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	child := exec.Command(os.Args[0], "-test.run=^TestKilledChild$")
	child.Env = append(os.Environ(), childStore+"="+path)
	out, err := child.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := child.Start(); err != nil {
		t.Fatal(err)
	}
	last := -1
	for lines := bufio.NewScanner(out); lines.Scan(); {
		if n, ok := strings.CutPrefix(lines.Text(), "done "); ok {
			if last, err = strconv.Atoi(n); err != nil {
				t.Fatal(err)
			}
		}
		if last == 30 {
			// The rest of what it says before it dies is read too.
			if err := child.Process.Kill(); err != nil && !errors.Is(err, os.ErrProcessDone) {
				t.Fatal(err)
			}
		}
	}
	_ = child.Wait() // "killed", as it should be
	if last < 30 {
		t.Fatalf("the child stopped by itself after entry %d", last)
	}
	again := open(t, path)
	if names, err := os.ReadDir(filepath.Dir(path)); err != nil || len(names) != 2 {
		t.Errorf("beside the store and its holder's name lie %v, %v", names, err)
	}
	got := entries(t, again)
	if len(got) != last+1 && len(got) != last+2 {
		t.Fatalf("%d entries, %d were acknowledged", len(got), last+1)
	}
	for i, entry := range got {
		if !strings.HasPrefix(entry, fmt.Sprintf("entry %d ", i)) {
			t.Fatalf("entry %d is %.20q", i, entry)
		}
	}
}
