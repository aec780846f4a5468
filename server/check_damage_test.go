package server

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"errors"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"witnessmark/store/record"
	"witnessmark/store/storetest"
)

// anatomy says of each byte of a store's file what it is: the layout of pages is that of internal/common of
// bbolt v1.5.0, and read here apart from the code that is tested.
type anatomy struct {
	file []byte
	is   []string // by byte
}

func (a *anatomy) mark(at, n int, what string) {
	for i := at; i < at+n && i < len(a.is); i++ {
		a.is[i] = what
	}
}

func (a *anatomy) u16(at int) int { return int(binary.NativeEndian.Uint16(a.file[at:])) }
func (a *anatomy) u32(at int) int { return int(binary.NativeEndian.Uint32(a.file[at:])) }
func (a *anatomy) u64(at int) int { return int(binary.NativeEndian.Uint64(a.file[at:])) }

func dissect(file []byte) *anatomy {
	a := &anatomy{file, make([]string, len(file))}
	a.mark(0, len(file), "free page")
	newest := newestMeta(file)
	a.mark(0, 2*pageSize, "meta, older")
	a.mark(newest, pageSize, "meta, unused")
	at := newest
	for _, f := range []struct {
		name string
		n    int
	}{{"page header", 16}, {"magic", 4}, {"version", 4}, {"page size", 4}, {"flags", 4}, {"root", 8}, {"sequence", 8}, {"freelist", 8}, {"pages", 8}, {"commit", 8}, {"checksum", 8}} {
		a.mark(at, f.n, "meta, "+f.name)
		at += f.n
	}
	free := a.u64(newest+48) * pageSize
	a.mark(free, (a.u32(free+12)+1)*pageSize, "freelist, unused")
	a.mark(free, 16, "freelist, header")
	a.mark(free+16, 8*a.u16(free+10), "freelist, pages")
	a.page(a.u64(newest+32)*pageSize, "buckets")
	return a
}

// page dissects a page of a tree, and all below it.
func (a *anatomy) page(at int, bucket string) {
	a.mark(at, (a.u32(at+12)+1)*pageSize, bucket+", unused")
	a.tree(at, bucket)
}

func (a *anatomy) tree(at int, bucket string) {
	kind, count := a.u16(at+8), a.u16(at+10)
	what := map[int]string{1: "branch", 2: "leaf"}[kind]
	a.mark(at, 16, bucket+", "+what+" header")
	for i := range count {
		e := at + 16 + 16*i
		a.mark(e, 16, bucket+", "+what+" element")
		if kind == 2 {
			a.mark(e, 4, bucket+", leaf flags")
		}
		if kind == 1 {
			a.mark(e, 8, bucket+", where a branch key lies") // of the element; the rest is the page that it leads to
			a.mark(e+a.u32(e), a.u32(e+4), bucket+", branch key")
			a.page(a.u64(e+8)*pageSize, bucket)
			continue
		}
		key, value := e+a.u32(e+4), e+a.u32(e+4)+a.u32(e+8)
		name := bucket
		if bucket == "documents" {
			kind, _, _ := bytes.Cut(a.file[key:value], []byte{0})
			name = "document " + string(kind)
		}
		a.mark(key, a.u32(e+8), name+", key")
		a.mark(value, a.u32(e+12), name+", value")
		if a.u32(e) == 1 { // a bucket: the number of its root, a sequence, and its page where that is 0
			under := string(a.file[key:value])
			a.mark(e+12, 4, "bucket "+under+", length")
			a.mark(value, 8, "bucket "+under+", root")
			a.mark(value+8, 8, "bucket "+under+", sequence")
			if root := a.u64(value); root != 0 {
				a.page(root*pageSize, under)
			} else {
				a.tree(value+16, under)
				a.mark(value+16, 8, under+", inline header")
				a.mark(value+28, 4, under+", inline header")
			}
		}
	}
}

// uncovered are the kinds of bytes that nothing covers, and why that harms nobody: by their whole name, or by
// what is behind the comma.
var uncovered = map[string]string{
	"free page":         "it holds nothing, until it is written whole",
	"meta, older":       "the commit before: damaged, there is no way back to it",
	"meta, page header": "bbolt finds meta pages by their place and reads their fields, which have a checksum",
	"unused":            "behind what the page holds",
	"sequence":          "a counter that bbolt keeps with each bucket, and that is not used",
	"length":            "of what says where a bucket lies, of which 16 bytes are read",
	"inline header":     "the number of a page within another, and how many more it covers: it has none",
	"branch key":        "it still lies between its neighbours, and leads the same way",

	"where a branch key lies": "the key that is read there still lies between its neighbours",
	"leaf flags":              "one of the 32 bits has a meaning, that a value is a bucket",
}

func whyUncovered(what string) string {
	_, last, _ := strings.Cut(what, ", ")
	return cmp.Or(uncovered[what], uncovered[last])
}

// TestDamage flips single bits of each kind of bytes that a store is made of. Check or opening notices, unless
// nothing needs them.
func TestDamage(t *testing.T) {
	b := lived(t)
	r := storetest.Rand(t)
	file := inUse(fileBytes(t, filepath.Join(b.dir, storeFile)))
	of := map[string][]int{}
	for at, what := range dissect(file).is {
		of[what] = append(of[what], at)
	}
	classes := slices.Sorted(maps.Keys(of))
	if len(classes) < 60 {
		t.Fatalf("only %d kinds of bytes: %q", len(classes), classes)
	}
	noticed, missed := map[string]int{}, map[string]int{}
	flip := func(what string) {
		at, bit := of[what][r.IntN(len(of[what]))], r.IntN(8)
		if b.notices(file, at, bit) {
			noticed[what]++
			return
		}
		missed[what]++
		if whyUncovered(what) == "" {
			t.Errorf("bit %d of byte %d of page %d is not noticed: %s", bit, at%pageSize, at/pageSize, what)
		}
	}
	storetest.During(t, 3*time.Second, func() {
		for range 20 {
			flip(classes[r.IntN(len(classes))])
		}
	})
	if err := os.WriteFile(filepath.Join(b.dir, storeFile), file, 0o600); err != nil {
		t.Fatal(err)
	}
	b.besideTheStore(r)
	seen, n, lost := 0, 0, 0
	for _, what := range classes {
		n += noticed[what]
		lost += missed[what]
		if noticed[what]+missed[what] > 0 {
			seen++
		}
		if missed[what] > 0 {
			t.Logf("%s: %d noticed, %d not: %s", what, noticed[what], missed[what], whyUncovered(what))
		}
	}
	t.Logf("%d bits in %d of %d kinds of bytes: %d noticed, %d that nothing needs", n+lost, seen, len(classes), n, lost)
}

func (b *bench) notices(file []byte, at, bit int) bool {
	b.Helper()
	bad := bytes.Clone(file)
	bad[at] ^= 1 << bit
	if err := os.WriteFile(filepath.Join(b.dir, storeFile), bad, 0o600); err != nil {
		b.Fatal(err)
	}
	out, err := in(b.dir).Check()
	return err != nil || len(out.Found) > 0
}

// besideTheStore flips bits of the checkpoint, which is signed to the last byte but for two bits, and of the server's key: one that
// is still read must be the same.
func (b *bench) besideTheStore(r *rand.Rand) {
	b.Helper()
	for _, name := range []string{checkpointFile, keyFile} {
		whole := fileBytes(b, filepath.Join(b.dir, name))
		for range 100 {
			bad := bytes.Clone(whole)
			at := r.IntN(len(bad))
			bad[at] ^= 1 << r.IntN(8)
			if err := os.WriteFile(filepath.Join(b.dir, name), bad, 0o600); err != nil {
				b.Fatal(err)
			}
			f, err := openFolder(b.dir, true)
			if err != nil {
				continue
			}
			err = errors.Join(record.View(f.engine, func(s *record.State) error { return f.agree(s) }), f.engine.Close())
			// The last character of the signature's base64 has two bits that say nothing; = and a newline follow.
			if err == nil && name == checkpointFile && at != len(whole)-3 {
				b.Errorf("byte %d of %s: not noticed", at, name)
			}
		}
		if err := os.WriteFile(filepath.Join(b.dir, name), whole, 0o600); err != nil {
			b.Fatal(err)
		}
	}
}
