package postgres

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgconn"

	"witnessmark/store"
	"witnessmark/store/postgres/pgtest"
)

// holding are the data files of a cluster that hold some bytes.
func holding(t *testing.T, c *pgtest.Cluster, what []byte) (names []string) {
	t.Helper()
	c.SQL(t, "CHECKPOINT")
	base := filepath.Join(c.Data(), "base")
	err := filepath.WalkDir(base, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		content, err := os.ReadFile(path)
		if err == nil && bytes.Contains(content, what) {
			names = append(names, path)
		}
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return names
}

// TestDeletedIsGone looks for what was deleted in all files of the database but its log.
func TestDeletedIsGone(t *testing.T) {
	c, url := pgtest.Shared(t)
	e := open(t, url, Options{Patience: 300 * time.Millisecond})
	plate, text, bytesOf := "W-MARK 17", "frame number of a car", bytes.Repeat([]byte("as found, byte by byte "), 500)
	sha := fmt.Sprintf("%064x", 7)
	err := e.Update(func(tx store.WriteTx) error {
		var err error
		for i := range 300 {
			err = errors.Join(err, tx.PutDocument("plate", fmt.Sprintf("%s %d", plate, i), []byte(text)))
		}
		return errors.Join(err, tx.PutBlob(sha, bytesOf), tx.PutDocument("job", "7", []byte("kept")))
	})
	if err != nil {
		t.Fatal(err)
	}
	sql(t, e, "ANALYZE")
	gone := [][]byte{[]byte(plate), []byte(text), bytesOf[:200]}
	for _, what := range gone {
		if len(holding(t, c, what)) == 0 {
			t.Fatalf("%.20q is not found where it is: the test looks in the wrong place", what)
		}
	}
	err = e.Update(func(tx store.WriteTx) error {
		var err error
		for i := range 300 {
			err = errors.Join(err, tx.DeleteDocument("plate", fmt.Sprintf("%s %d", plate, i)))
		}
		return errors.Join(err, tx.DeleteBlob(sha))
	})
	if err != nil {
		t.Fatal(err)
	}
	// A stranger's transaction might still see it, and is named.
	stranger, err := pgconn.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer stranger.Close(t.Context())
	sql(t, e, "CREATE TABLE public.other (n int)")
	defer sql(t, e, "DROP TABLE public.other")
	for _, statement := range []string{"BEGIN", "INSERT INTO other VALUES (1)"} {
		if _, err := stranger.Exec(t.Context(), statement).ReadAll(); err != nil {
			t.Fatal(err)
		}
	}
	wantLine(t, e.Compact(), fmt.Sprintf("process %d, is open", stranger.PID()))
	if _, err := stranger.Exec(t.Context(), "ROLLBACK").ReadAll(); err != nil {
		t.Fatal(err)
	}
	if err := e.Compact(); err != nil {
		t.Fatal(err)
	}
	for _, what := range gone {
		if found := holding(t, c, what); len(found) > 0 {
			t.Errorf("%.20q is still in %s", what, found)
		}
	}
	wantDocument(t, e, "job", "7", "kept")
}

// TestCompactWaitsForViews: a view that may still see what was deleted keeps it, so Compact waits for its end.
func TestCompactWaitsForViews(t *testing.T) {
	e := open(t, pgtest.URL(t), Options{})
	put(t, e, "plate", "x", "value")
	compacted := make(chan error, 1)
	err := e.View(func(tx store.ReadTx) error {
		go func() { compacted <- e.Compact() }()
		select {
		case err := <-compacted:
			return fmt.Errorf("compacted under an open view, %v", err)
		case <-time.After(100 * time.Millisecond):
		}
		_, err := tx.Document("plate", "x")
		return err
	})
	if err := errors.Join(err, <-compacted); err != nil {
		t.Error(err)
	}
}

// TestCloseEndsCompact: a stranger's lock on a table would hold it up for ever.
func TestCloseEndsCompact(t *testing.T) {
	url := pgtest.URL(t)
	e := open(t, url, Options{})
	put(t, e, "plate", "x", "value")
	stranger, err := pgconn.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer stranger.Close(t.Context())
	for _, statement := range []string{"BEGIN", "LOCK TABLE witnessmark.documents IN ACCESS SHARE MODE"} {
		if _, err := stranger.Exec(t.Context(), statement).ReadAll(); err != nil {
			t.Fatal(err)
		}
	}
	compacted := make(chan error, 1)
	go func() { compacted <- e.Compact() }()
	select {
	case err := <-compacted:
		t.Fatalf("compacted under a lock, %v", err)
	case <-time.After(100 * time.Millisecond):
	}
	if err := e.Close(); err != nil {
		t.Error(err)
	}
	if err := <-compacted; !errors.Is(err, store.ErrClosed) {
		t.Errorf("Compact ends with %v", err)
	}
}

// TestCompactByAnother: the database only warns a role that may not, and goes on.
func TestCompactByAnother(t *testing.T) {
	url := pgtest.URL(t)
	owner := open(t, url, Options{})
	put(t, owner, "job", "7", "card")
	sql(t, owner, `CREATE ROLE other LOGIN; GRANT USAGE ON SCHEMA witnessmark TO other;
		GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA witnessmark TO other`)
	defer sql(t, owner, "DROP OWNED BY other; DROP ROLE other")
	e := open(t, strings.Replace(url, "postgres@", "other@", 1), Options{})
	put(t, e, "job", "7", "card, edited")
	wantLine(t, e.Compact(), "the role that compacts must own the tables")
}
