package tables_test

import (
	"os/exec"
	"testing"

	// What the demo's tests depend on, so that a cached result of this one is not kept too long.
	_ "witnessmark/tables/compare"
	_ "witnessmark/testdata/demo"
)

// The demo's own tests lie under testdata, which `go test ./...` passes over.
func TestDemoData(t *testing.T) {
	out, err := exec.Command("go", "test", "witnessmark/testdata/demo", "witnessmark/testdata/demo/generate").CombinedOutput()
	if err != nil {
		t.Errorf("go test witnessmark/testdata/demo/...: %v\n%s", err, out)
	}
}
