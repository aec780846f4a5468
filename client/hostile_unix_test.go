//go:build unix

package client

import (
	"os"
	"strings"
	"syscall"
	"testing"

	"witnessmark/store/record"
)

// Whatever a person gives to be added to the ledger is refused in one line where it is no file, before
// anything is signed; so is a home whose own files were replaced by something else.
func TestHostileFilesAdded(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, syscall.Mkfifo(w.path("pipe"), 0o600))
	w.must(nil, os.Symlink(w.path("loop"), w.path("loop")))
	w.must(nil, os.WriteFile(w.path("sparse"), nil, 0o600))
	w.must(nil, os.Truncate(w.path("sparse"), 5<<30))
	w.must(w.tech.Collect(ctx, Collecting{Job: 1, Out: w.path("first.bin"), Frame: frame}))
	before := len(w.fake.told)
	for what, bad := range map[string]string{"endless": "/dev/zero", "pipe": w.path("pipe"), "loop": w.path("loop"), "folder": w.dir, "sparse": w.path("sparse")} {
		for name, add := range map[string]func() error{
			"read":       func() error { _, _, err := w.tech.AddRead(ctx, NewRead{Job: 1, Path: bad}); return err },
			"submission": func() error { _, _, err := w.cal.Submit(ctx, NewSubmission{Job: 1, Path: bad}); return err },
			"read-back":  func() error { _, err := w.tech.Readback(ctx, 1, bad, ""); return err },
			"run":        func() error { _, err := w.tech.AddRun(ctx, 1, bad, "", "before"); return err },
			"definition": func() error { _, _, err := w.lead.AddDocument(ctx, Definitions, bad); return err },
			"limits":     func() error { _, _, err := w.lead.AddDocument(ctx, Limits, bad); return err },
			"doubts":     func() error { _, err := w.lead.Doubts(ctx, Limits, bad); return err },
			"key":        func() error { _, err := w.lead.Enrol(ctx, "new", []string{"technician"}, bad); return err },
			"own key":    func() error { _, err := LoadSigner(bad, nil); return err },
			"note": func() error {
				_, err := w.tech.AddNote(ctx, NewNote{About: record.Name{Job: 1}, Text: "see", Files: []string{bad}})
				return err
			},
			"fresh read": func() error {
				_, err := w.tech.Collect(ctx, Collecting{Job: 1, Out: w.path("out.bin"), FreshRead: bad})
				return err
			},
			"proof": func() error { _, err := VerifyProof(w.tech.own.home, bad, ""); return err },
		} {
			if err := add(); err == nil || !strings.Contains(err.Error(), bad) || strings.Contains(err.Error(), "\n") {
				t.Errorf("%s as %s: %v", what, name, err)
			}
		}
	}
	if now := len(w.fake.told); now != before {
		t.Errorf("%d entries more", now-before)
	}
	w.nothingWritten()
	for _, name := range []string{headFile, copyFile, configFile} {
		w.must(nil, os.Remove(w.cal.own.home.path(name)))
		w.must(nil, syscall.Mkfifo(w.cal.own.home.path(name), 0o600))
		err := w.cal.Sync(ctx)
		if name == configFile {
			_, err = Open(w.cal.own.home, nil)
		}
		if name == copyFile { // which is made again
			w.must(nil, err)
			continue
		}
		if err == nil || KindOf(err) == Distrust || strings.Contains(err.Error(), "\n") {
			t.Errorf("a pipe for %s: %v", name, err)
		}
		w.must(nil, os.Remove(w.cal.own.home.path(name)))
	}
}
