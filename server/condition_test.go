package server

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/built"
)

func (w *workshop) condition(as string) *servicev1.ConditionResponse {
	w.Helper()
	c, err := servicev1.NewAdminClient(w.as(as)).Condition(within(w), &servicev1.ConditionRequest{})
	if err != nil {
		w.Fatal(err)
	}
	return c
}

// lasts wants that time as the last backup's.
func (w *workshop) lasts(what, want string) {
	w.Helper()
	if got := w.condition("technician").GetLastBackup(); got != want {
		w.Errorf("%s: the last backup is %q, want %q", what, got, want)
	}
}

func TestConditionTellsOfThisServer(t *testing.T) { onBoth(t, testCondition) }

func testCondition(t *testing.T, p Place) {
	b := newBenchIn(t, p)
	if v := b.condition("lead").GetVersion(); v != built.Version() {
		t.Errorf("version %q, want this program's, %q", v, built.Version())
	}
	var now atomic.Int64
	now.Store(time.Date(2026, 3, 1, 12, 0, 0, 0, time.FixedZone("east", 3600)).UnixNano())
	b.tune = func(o *Options) {
		o.Version, o.Now = "v9.1.0 go1.26", func() time.Time { return time.Unix(0, now.Load()) }
	}
	b.restart()
	c := b.condition("technician")
	if c.GetVersion() != "v9.1.0 go1.26" || c.GetTime() != "2026-03-01T11:00:00Z" || c.GetLastBackup() != "" {
		t.Errorf("%v", c)
	}
	if elsewhere := p.Database != ""; c.GetBackupsElsewhere() != elsewhere {
		t.Errorf("backups elsewhere %v, want %v", c.GetBackupsElsewhere(), elsewhere)
	} else if elsewhere {
		b.backup()
		if c = b.condition("lead"); c.GetLastBackup() != "" || c.GetDiskSize() != 0 || c.GetDiskFree() != 0 {
			t.Errorf("of a database: %v", c)
		}
		return
	}
	b.srv.home.keeper.(*folder).free = func(string) (int64, error) { return 4711, nil }
	if c = b.condition("calibrator"); c.GetDiskFree() != 4711 || c.GetDiskSize() < 1<<20 {
		t.Errorf("the disk: %d of %d", c.GetDiskFree(), c.GetDiskSize())
	}
	b.srv.home.keeper.(*folder).free = func(string) (int64, error) { return 0, errors.New("no word of it") }
	if c = b.condition("lead"); c.GetDiskFree() != 0 || c.GetDiskSize() != 0 {
		t.Errorf("a disk that says nothing: %d of %d", c.GetDiskFree(), c.GetDiskSize())
	}
	b.srv.home.keeper.(*folder).free = freeBytes
	b.backup()
	b.lasts("a lead's", "2026-03-01T11:00:00Z")
	now.Add(-int64(time.Hour))
	b.backup()
	b.lasts("with the clock set back, since else no backup ends what a clock that was ahead left", "2026-03-01T10:00:00Z")
	b.restart()
	b.lasts("after a start", "2026-03-01T10:00:00Z")
	now.Add(int64(2 * time.Hour))
	b.backup()
	b.lasts("a later one", "2026-03-01T12:00:00Z")
	if err := os.WriteFile(filepath.Join(b.dir, backupFile), []byte("yester"), 0o600); err != nil {
		t.Fatal(err)
	}
	b.lasts("a damaged note", "")
	b.backup()
	b.lasts("mended", "2026-03-01T12:00:00Z")
}

// TestABackupBrokenOffIsNone: whoever goes away in the middle has none.
func TestABackupBrokenOffIsNone(t *testing.T) {
	b := newBench(t)
	open, o := b.openJob("AB 12 CD")
	b.do("technician", open, o)
	_, env, o := b.withFile(8 << 20) // more than is on the way at once
	if _, err := b.bring("technician", env, o...); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(within(t))
	s, err := servicev1.NewAdminClient(b.as("lead")).Backup(ctx, &servicev1.BackupRequest{})
	if err == nil {
		_, err = s.Recv()
	}
	if err != nil {
		t.Fatal(err)
	}
	cancel()
	b.until("the call has ended", func() bool { return b.srv.gate.calls.total() == 0 })
	b.lasts("broken off", "")
}

// TestBackupsOfAFolderAreNoted: by whoever may read it, while its server runs and while none does.
func TestBackupsOfAFolderAreNoted(t *testing.T) {
	w := staffed(t)
	begun := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	w.tune = func(o *Options) { o.Backups, o.Now = true, func() time.Time { return begun } }
	w.restart()
	ask := func(say string) string {
		c, err := net.Dial("unix", filepath.Join(w.dir, backupSocket))
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		var size int64
		r := bufio.NewReader(c)
		_, err = fmt.Fscanf(r, "%d\n", &size)
		if err == nil {
			_, err = io.CopyN(io.Discard, r, size)
		}
		if err == nil {
			_, err = io.WriteString(c, say)
		}
		if err == nil {
			err = c.(*net.UnixConn).CloseWrite()
		}
		if err != nil {
			t.Fatal(err)
		}
		rest, _ := io.ReadAll(r) // ends when the server is through with it, with an error where it left something unread
		return string(rest)
	}
	for _, say := range []string{"", "take", "not taken\n", strings.Repeat("x", 100)} {
		if rest := ask(say); rest != "" {
			t.Errorf("%q is answered with %q", say, rest)
		}
		w.lasts("a copy of which nobody said that it is whole", "")
	}
	out := filepath.Join(t.TempDir(), "copy")
	if err := os.WriteFile(out+"-there", nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := in(w.dir).Backup(out + "-there"); !errors.Is(err, os.ErrExist) {
		t.Errorf("over a file: %v", err)
	}
	w.lasts("a copy that was not kept", "")
	if err := in(w.dir).Backup(out); err != nil {
		t.Fatal(err)
	}
	w.lasts("of one that runs", "2026-03-01T12:00:00Z")
	w.stop()
	before := time.Now().Truncate(time.Second)
	if err := in(w.dir).Backup(out + "2"); err != nil {
		t.Fatal(err)
	}
	w.start()
	if at, err := time.Parse(time.RFC3339, w.condition("lead").GetLastBackup()); err != nil || at.Before(before) || at.After(time.Now()) {
		t.Errorf("of one that does not: %v, %v; want about %v", at, err, before)
	}
}
