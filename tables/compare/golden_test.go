package compare

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed/changedtest"
	"witnessmark/tables/definition"
	"witnessmark/tables/limits"
)

var update = flag.Bool("update", false, "write the golden reports anew")

func demoFile(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile("../../testdata/demo/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// printedReport is a report as the command prints it.
func printedReport(t *testing.T, r *calibrationv1.Report) []byte {
	t.Helper()
	raw, err := protojson.MarshalOptions{UseProtoNames: true, EmitDefaultValues: true}.Marshal(changedtest.Report(r))
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := json.Indent(&out, raw, "", "  "); err != nil { // protojson's own spacing differs from build to build
		t.Fatal(err)
	}
	return append(out.Bytes(), '\n')
}

// The reports of the demo are kept as files: a change of one is a change of Semantics.
func TestGoldenReports(t *testing.T) {
	lay, err := definition.Load("dx1-1.8t.yaml", demoFile(t, "dx1-1.8t.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	lim, err := limits.Load("dx1-road-98.yaml", demoFile(t, "dx1-road-98.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	found, job := whole(lay, demoFile(t, "asfound.bin")), &calibrationv1.JobFacts{Fuel: "98 RON"}
	for name, make := range map[string]func() (*calibrationv1.Report, error){
		"check": func() (*calibrationv1.Report, error) { return Check(found, lay, lim, job) },
		"submission-1": func() (*calibrationv1.Report, error) {
			return Compare(Input{Base: found, Candidate: whole(lay, demoFile(t, "submission-1.bin")), Layout: lay, Limits: lim, Job: job})
		},
		"submission-2": func() (*calibrationv1.Report, error) {
			return Compare(Input{Base: found, Candidate: whole(lay, demoFile(t, "submission-2.bin")), Layout: lay, Limits: lim, Job: job,
				MeantGiven: true, Meant: []string{"boost.target", "wastegate.duty", "lambda.target", "ignition.base", "ignition.98"}})
		},
		"readback": func() (*calibrationv1.Report, error) {
			return Compare(Input{Base: whole(lay, demoFile(t, "submission-2.bin")), Candidate: whole(lay, demoFile(t, "readback.bin")), Layout: lay})
		},
	} {
		t.Run(name, func(t *testing.T) {
			r, err := make()
			if err != nil {
				t.Fatal(err)
			}
			path := filepath.Join("testdata", "golden", name+".json")
			got := printedReport(t, r)
			if *update {
				if err := os.WriteFile(path, got, 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got, want) {
				t.Errorf("the report of %s is not %s (run with -update and read the difference)", name, path)
			}
			back := &calibrationv1.Report{}
			if err := protojson.Unmarshal(want, back); err != nil || !proto.Equal(back, changedtest.Report(r)) {
				t.Errorf("the printed report does not read back: %v", err)
			}
		})
	}
}

// Source: the demo's own README, which says what each submission was made to be found with.
func TestDemoVerdicts(t *testing.T) {
	lay, err := definition.Load("dx1-1.8t.yaml", demoFile(t, "dx1-1.8t.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	written, found := whole(lay, demoFile(t, "submission-2.bin")), whole(lay, demoFile(t, "readback.bin"))
	if same, why := SameInCar(lay, written, found); !same {
		t.Errorf("the read-back differs: %s", why)
	}
	if same, _ := SameInCar(lay, written, whole(lay, demoFile(t, "submission-1.bin"))); same {
		t.Error("the other submission passes for the read-back")
	}
}
