package desk

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
)

// What a killed desk left goes when the next one opens; what another desk still uses, and what is nobody's, stays.
func TestFoldersOfKilledDesks(t *testing.T) {
	w := newWorld(t)
	temp := t.TempDir()
	t.Setenv("TMPDIR", temp)
	left, other := filepath.Join(temp, "witnessmark-desk-1"), filepath.Join(temp, "witnessmark-desk-2")
	for _, dir := range []string{left, other} {
		w.must(os.Mkdir(dir, 0o700))
		w.must(os.WriteFile(filepath.Join(dir, "collected.bin"), []byte("a release"), 0o600))
	}
	w.must(os.WriteFile(filepath.Join(left, "in-use"), nil, 0o600)) // as a killed desk leaves it: there, and held by nobody
	one, err := Start(Options{Client: w.lead.client})
	w.must(err)
	if filepath.Dir(one.dir) != temp {
		t.Skip("the folder for what is temporary cannot be set here")
	}
	if _, err := os.Stat(left); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a killed desk's folder is still there: %v", err)
	}
	two, err := Start(Options{Client: w.lead.client})
	w.must(err)
	for _, dir := range []string{one.dir, other} {
		if _, err := os.Stat(dir); err != nil {
			t.Errorf("a folder that is another's has gone: %v", err)
		}
	}
	w.must(errors.Join(one.Close(), two.Close()))
	if names, err := os.ReadDir(temp); err != nil || len(names) != 1 {
		t.Errorf("closed desks leave %v, %v", names, err)
	}
}
