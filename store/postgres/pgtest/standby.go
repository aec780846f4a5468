package pgtest

import (
	"path/filepath"
	"testing"
	"time"
)

// Standby makes and starts a synchronous standby of c: from then on c acknowledges nothing that it lacks.
func (c *Cluster) Standby(t testing.TB) *Cluster {
	t.Helper()
	s, err := folder()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.remove)
	const name = "standby"
	if err := s.do("pg_basebackup", "-D", s.Data(), "-d", c.url("postgres")+"&application_name="+name, "-R", "-X", "stream", "-c", "fast", "--no-sync"); err != nil {
		t.Fatal(err)
	}
	if err := appendFile(filepath.Join(s.Data(), "postgresql.conf"), "unix_socket_directories = '"+s.dir+"'\nsynchronous_standby_names = ''\n"); err != nil {
		t.Fatal(err)
	}
	s.Start(t)
	c.SQL(t, "ALTER SYSTEM SET synchronous_standby_names = '"+name+"'")
	c.SQL(t, "SELECT pg_reload_conf()")
	c.wait(t, "SELECT count(*) FROM pg_stat_replication WHERE sync_state = 'sync'", "1")
	return s
}

// Or is a URL of both, of which whichever takes writes is meant.
func (c *Cluster) Or(other *Cluster) string {
	return c.URL() + "," + other.dir + "&target_session_attrs=read-write"
}

// Promote has a standby take over, and waits until it takes writes.
func (c *Cluster) Promote(t testing.TB) {
	t.Helper()
	c.SQL(t, "SELECT pg_promote(false)") // one that waited would hold up what is still to be replayed, for its snapshot
	c.wait(t, "SELECT pg_is_in_recovery()", "f")
}

// wait is until a query answers so.
func (c *Cluster) wait(t testing.TB, query, want string) {
	t.Helper()
	got := ""
	for until := time.Now().Add(time.Minute); time.Now().Before(until); time.Sleep(20 * time.Millisecond) {
		if got = c.SQL(t, query); got == want {
			return
		}
	}
	t.Fatalf("%s: %q, want %q", query, got, want)
}

// CancelWaits has every commit that waits for a standby go on without it, as an administrator can, and
// answers with how many did.
func (c *Cluster) CancelWaits(t testing.TB) string {
	t.Helper()
	return c.SQL(t, "SELECT count(pg_cancel_backend(pid)) FROM pg_stat_activity WHERE wait_event = 'SyncRep'")
}
