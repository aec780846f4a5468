package client

import (
	"archive/zip"
	"bytes"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// filesOf is files as small as a bundle's parts may be.
func filesOf() [][]byte {
	files := make([][]byte, len(bundleNames))
	for i := range files {
		files[i] = []byte(bundleNames[i])
	}
	return files
}

// The layout is a format of its own: names, order, storing and time stay as they are.
func TestBundleLayout(t *testing.T) {
	b, err := pack(filesOf())
	if err != nil {
		t.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, f := range z.File {
		names = append(names, f.Name)
		if f.Method != zip.Store || f.Modified.Year() != 1980 {
			t.Errorf("%s: method %d, time %v", f.Name, f.Method, f.Modified)
		}
	}
	if got := strings.Join(names, " "); got != "image.bin definition.yaml limits.yaml report.pb entries.pb proofs.pb checkpoint.txt" {
		t.Error(got)
	}
}

func TestUnpackRefuses(t *testing.T) {
	odd := func(change func(z *zip.Writer)) []byte {
		var out bytes.Buffer
		z := zip.NewWriter(&out)
		change(z)
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		return out.Bytes()
	}
	add := func(z *zip.Writer, name string, method uint16, content string) {
		w, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: method, Modified: bundleTime})
		if err == nil {
			_, err = w.Write([]byte(content))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	whole, err := pack(filesOf())
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, words string
		zip         []byte
	}{
		{"too few", "has 7 files", odd(func(z *zip.Writer) { add(z, "image.bin", zip.Store, "") })},
		{"another order", "must be image.bin", odd(func(z *zip.Writer) {
			for _, n := range []string{"definition.yaml", "image.bin", "limits.yaml", "report.pb", "entries.pb", "proofs.pb", "checkpoint.txt"} {
				add(z, n, zip.Store, "")
			}
		})},
		{"a way out of the folder", "must be image.bin", odd(func(z *zip.Writer) {
			add(z, "../image.bin", zip.Store, "")
			for _, n := range bundleNames[1:] {
				add(z, n, zip.Store, "")
			}
		})},
		{"packed", "stored as they are", odd(func(z *zip.Writer) {
			for _, n := range bundleNames {
				add(z, n, zip.Deflate, strings.Repeat("a", 1000))
			}
		})},
		{"a comment", "changed after it was made", odd(func(z *zip.Writer) {
			for _, n := range bundleNames {
				add(z, n, zip.Store, n)
			}
			if err := z.SetComment("and more"); err != nil {
				t.Fatal(err)
			}
		})},
		{"bytes before it", "changed after it was made", append([]byte("#!/bin/sh\n"), whole...)},
		{"no zip", "not a bundle", []byte("hello")},
	} {
		if _, err := unpack("b", c.zip); err == nil || !strings.Contains(err.Error(), c.words) || KindOf(err) != Distrust {
			t.Errorf("%s: %v; want %q", c.name, err, c.words)
		}
	}
}

// A bundle of a ledger that a newer version wrote on is neither right nor wrong.
func TestBundleOfNewerVersion(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.tech))
	b, err := openBundle(w.path("out.bin.bundle.zip"))
	w.must(nil, err)
	unknownKind(w)
	b.entries = w.fake.entries
	w.refusedAs(b.replay(), Upgrade, "does not know")
}

// What lies beside the image must be what the proofs are about.
func TestProofsAreOfTheirEntries(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.tech))
	b, err := openBundle(w.path("out.bin.bundle.zip"))
	w.must(nil, err)
	whole := b.files
	for name, change := range map[string]func(p []*recordv1.Proof){
		"another index":    func(p []*recordv1.Proof) { p[1].Index = p[0].Index },
		"another entry":    func(p []*recordv1.Proof) { p[2].Entry = p[1].Entry },
		"a shorter path":   func(p []*recordv1.Proof) { p[0].Inclusion = p[0].Inclusion[1:] },
		"another path":     func(p []*recordv1.Proof) { p[0].Inclusion[0][3] ^= 1 },
		"exchanged proofs": func(p []*recordv1.Proof) { p[0], p[1] = p[1], p[0] },
	} {
		o := &opened{name: "b", files: whole, entries: b.entries}
		for _, p := range b.proofs {
			o.proofs = append(o.proofs, proto.CloneOf(p))
		}
		change(o.proofs)
		err := o.replay()
		if err == nil {
			_, err = o.release()
		}
		if KindOf(err) != Distrust || err == nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}
