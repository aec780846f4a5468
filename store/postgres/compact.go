package postgres

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/jackc/pgx/v5/pgconn"

	"witnessmark/store"
	"witnessmark/store/bolt"
)

// Snapshot writes what bolt.Open accepts. It puts a file together first: a slow receiver must not keep a
// transaction open.
func (e *Engine) Snapshot(w io.Writer) (err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("snapshot: %w", err)
		}
	}()
	folder, err := os.MkdirTemp(e.options.Folder, ".snapshot-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	to, err := bolt.CreateWith(filepath.Join(folder, "ledger.db"), bolt.Options{})
	if err != nil {
		return err
	}
	err = e.View(func(tx store.ReadTx) error { return store.Copy(tx, to.Update) })
	if err == nil {
		err = to.Snapshot(w)
	}
	return errors.Join(err, to.Close())
}

// Compact has the tables' files hold nothing that was deleted. It waits for transactions that may still see it,
// those of others in the database too, and others wait for it, a second at a time.
func (e *Engine) Compact() (err error) {
	if err := e.writable(); err != nil {
		return err
	}
	e.using.RLock()
	defer e.using.RUnlock()
	if e.closing.Load() {
		return store.ErrClosed
	}
	c, err := e.connect()
	if err != nil {
		return fmt.Errorf("compact: %w", err)
	}
	defer c.close()
	if err := e.compact(c); err != nil {
		return fmt.Errorf("compact: %w", e.explained(err))
	}
	return nil
}

func (e *Engine) compact(c *conn) error {
	if err := e.waitForOthers(c); err != nil {
		return err
	}
	got, err := c.run(do(readState))
	if err != nil {
		return err
	}
	s, err := parseState(got[0])
	if err != nil {
		return err
	}
	if err := e.vacuum(c, "documents"); err != nil || s.deleted <= s.compacted {
		return err
	}
	if err := e.vacuum(c, "blobs"); err != nil {
		return err
	}
	_, err = c.text(context.Background(), fmt.Sprintf("UPDATE witnessmark.state SET blobs_compacted = %d", s.deleted))
	return err
}

// vacuum writes a table anew. It asks for its lock a second at a time, so that nobody waits behind it for longer, nor Close.
func (e *Engine) vacuum(c *conn, table string) error {
	for !e.closing.Load() {
		c.warned = false
		_, err := c.text(context.Background(), "SET lock_timeout = '1s'")
		if err == nil {
			_, err = c.text(context.Background(), "VACUUM (FULL) witnessmark."+table)
		}
		var said *pgconn.PgError
		switch {
		case err == nil && c.warned: // which is how it says that it may not
			return refusal(c.warning + "; the role that compacts must own the tables of the schema witnessmark")
		case err == nil || !errors.As(err, &said) || said.Code != "55P03":
			return err
		}
		time.Sleep(50 * time.Millisecond)
	}
	return store.ErrClosed
}

// waitForOthers is until no transaction is as old as what was deleted: VACUUM keeps what those might see. Views of
// this program hold locks that VACUUM waits for; others, and transactions in other databases that write, do not.
func (e *Engine) waitForOthers(c *conn) error {
	ctx := context.Background()
	got, err := c.text(ctx, `SELECT pg_current_xact_id()::xid`)
	if err != nil {
		return err
	}
	now := string(got[0].Rows[0][0])
	for until := time.Now().Add(e.options.Patience); ; time.Sleep(20 * time.Millisecond) {
		got, err := c.text(ctx, `SELECT pid, coalesce(datname, '') FROM pg_stat_activity WHERE pid <> pg_backend_pid()
			AND backend_type IN ('client backend', 'walsender', 'background worker') AND (age(backend_xid) > age('`+now+`'::xid)
			OR age(backend_xmin) > age('`+now+`'::xid) AND (datid IS NULL OR datname = current_database())) LIMIT 1`)
		if err != nil || len(got[0].Rows) == 0 {
			return err
		}
		if time.Now().After(until) {
			row := got[0].Rows[0]
			return refusal(fmt.Sprintf("what was deleted stays in its files while a transaction in database %q, process %s, is open", row[1], row[0]))
		}
	}
}
