package tables_test

import (
	"os/exec"
	"testing"
)

// The demo's own tests lie under testdata, which `go test ./...` passes over.
func TestDemoData(t *testing.T) {
	out, err := exec.Command("go", "test", "witnessmark/testdata/demo/...").CombinedOutput()
	if err != nil {
		t.Errorf("go test witnessmark/testdata/demo/...: %v\n%s", err, out)
	}
}
