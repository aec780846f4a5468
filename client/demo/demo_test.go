package demo

import (
	"bytes"
	"encoding/binary"
	"flag"
	"hash/crc32"
	"os"
	"slices"
	"sync"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
)

var made = sync.OnceValues(Files)

func file(t *testing.T, name string) []byte {
	t.Helper()
	files, err := made()
	if err != nil {
		t.Fatal(err)
	}
	if files[name] == nil {
		t.Fatalf("there is no %s", name)
	}
	return files[name]
}

// whole is a raw file of the demo as an image.
func whole(t *testing.T, name string) *image.Image {
	t.Helper()
	return image.Whole(0, file(t, name))
}

const folder = "../../testdata/demo/"

// testdata/demo is what Files makes, and nothing else but what says so.
func TestFilesAreCommitted(t *testing.T) {
	files, err := Files()
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range files {
		if *write {
			if err := os.WriteFile(folder+name, want, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		got, err := os.ReadFile(folder + name)
		if err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s is not what is made here, %v; run go generate ./client/demo", name, err)
		}
	}
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if name := e.Name(); files[name] == nil && name != "README.md" && name != ".gitattributes" {
			t.Errorf("nothing makes %s", name)
		}
	}
}

func load(t *testing.T) (*definition.Layout, *limits.Limits) {
	t.Helper()
	lay, err := definition.Load("dx1-1.8t.yaml", file(t, "dx1-1.8t.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	lim, err := limits.Load("dx1-road-98.yaml", file(t, "dx1-road-98.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	if err := lim.Check(lay); err != nil {
		t.Fatal(err)
	}
	return lay, lim
}

var write = flag.Bool("write", false, "write testdata/demo anew")

var meant = []string{"boost.target", "wastegate.duty", "lambda.target", "ignition.base", "ignition.98"}

// keysOf are a report's finding keys with their severities, in the report's order.
func keysOf(r *calibrationv1.Report) []string {
	out := []string{}
	for _, f := range r.GetFindings() {
		out = append(out, f.GetSeverity()+" "+compare.Key(f))
	}
	return out
}

func TestDefinitionIsWorthShowing(t *testing.T) {
	lay, _ := load(t)
	if len(lay.Tables) < 36 {
		t.Errorf("%d tables; the demo promises 36 or more", len(lay.Tables))
	}
	if err := lay.Identify(file(t, "asfound.bin")); err != nil {
		t.Error(err)
	}
}

func TestAsFoundIsClear(t *testing.T) {
	lay, lim := load(t)
	r, err := compare.Check(whole(t, "asfound.bin"), lay, lim, &calibrationv1.JobFacts{Fuel: "98 RON"})
	if err != nil {
		t.Fatal(err)
	}
	if r.GetVerdict() != "clear" || len(r.GetFindings()) != 0 {
		t.Errorf("verdict %s, findings %q; want clear without any", r.GetVerdict(), keysOf(r))
	}
}

func TestSubmissionVerdicts(t *testing.T) {
	lay, lim := load(t)
	for _, c := range []struct {
		name, verdict string
		keys          []string
	}{
		{"submission-1.bin", "danger", []string{
			"danger cut-above-target:boost.target", "danger boost-ceiling:boost.target", "danger request-ceiling:boost.request",
			"warning advance-ceiling:ignition.98", "warning advance-in-heat:advance.plug", "warning advance-at-plug:advance.plug", "caution new-ground:boost.target",
			"caution boost-step:boost.target", "caution advance-at-the-same-air:advance.plug", "caution no-lump:ignition.98", "caution advance-step:ignition.98",
		}},
		{"submission-2.bin", "warning", []string{"warning advance-ceiling:ignition.98", "notice new-ground:boost.target"}},
	} {
		r, err := compare.Compare(compare.Input{
			Base: whole(t, "asfound.bin"), Candidate: whole(t, c.name),
			Layout: lay, Limits: lim, Meant: meant, MeantGiven: true, Job: &calibrationv1.JobFacts{Fuel: "98 RON"},
		})
		if err != nil {
			t.Fatal(err)
		}
		if keys := keysOf(r); r.GetVerdict() != c.verdict || !slices.Equal(keys, c.keys) {
			t.Errorf("%s: verdict %s, findings %q\nwant %s, %q", c.name, r.GetVerdict(), keys, c.verdict, c.keys)
		}
		var changed []string
		for _, table := range r.GetTables() {
			changed = append(changed, table.GetId())
		}
		slices.Sort(changed)
		if want := slices.Sorted(slices.Values(meant)); !slices.Equal(changed, want) {
			t.Errorf("%s: changed %q, meant %q", c.name, changed, want)
		}
	}
}

// The point that the second submission's warning is about, worked out by hand: 20.5 deg stored
// as 41 steps of 0.5, under a ceiling of 20 at 5000 1/min and 140 %.
func TestWarningNamesThePoint(t *testing.T) {
	lay, lim := load(t)
	r, err := compare.Compare(compare.Input{
		Base: whole(t, "asfound.bin"), Candidate: whole(t, "submission-2.bin"),
		Layout: lay, Limits: lim,
	})
	if err != nil {
		t.Fatal(err)
	}
	w := r.GetFindings()[0].GetWorst()
	if w.GetX() != 5000 || w.GetY() != 140 || w.GetValue() != 20.5 || w.GetLimit() != 20 || w.GetExcess() != 0.5 {
		t.Errorf("worst %v", w)
	}
}

func TestReadbackIsTheSecondSubmission(t *testing.T) {
	lay, _ := load(t)
	written, found := whole(t, "submission-2.bin"), whole(t, "readback.bin")
	if bytes.Equal(written.Bytes, found.Bytes) {
		t.Fatal("the controller learned nothing")
	}
	if same, why := compare.SameInCar(lay, written, found); !same {
		t.Error(why)
	}
	if same, _ := compare.SameInCar(lay, whole(t, "submission-1.bin"), found); same {
		t.Error("the first submission is also taken for what is in the car")
	}
}

func TestRecordFilesHoldTheSame(t *testing.T) {
	want := file(t, "asfound.bin")
	for name, format := range map[string]image.Format{"asfound.bin": image.Raw, "asfound.hex": image.IHex, "asfound.s19": image.SRec} {
		im, err := image.Read(name, file(t, name), "", image.Space{{End: 0x40000}})
		if err != nil {
			t.Fatal(err)
		}
		if im.Format != format || !bytes.Equal(im.Bytes, want) || len(im.Gaps()) != 0 {
			t.Errorf("%s: detected as %s, same bytes %v, gaps %x", name, im.Format, bytes.Equal(im.Bytes, want), im.Gaps())
		}
	}
}

// The checksum by the standard library and by addresses written here.
func TestChecksumIsStamped(t *testing.T) {
	for _, name := range []string{"asfound.bin", "submission-1.bin", "submission-2.bin", "readback.bin"} {
		data := file(t, name)
		if got, want := binary.BigEndian.Uint32(data[0x3FFFC:]), crc32.ChecksumIEEE(data[:0x3E000]); got != want {
			t.Errorf("%s: checksum %08x, want %08x", name, got, want)
		}
	}
}
