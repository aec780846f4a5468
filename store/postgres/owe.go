package postgres

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5/pgconn"

	"witnessmark/store"
)

// Owe notes that something is about to be deleted for good, which Compact has to follow: whoever notes it may not live
// to see to that.
func (e *Engine) Owe() error {
	if err := e.writable(); err != nil {
		return err
	}
	// Behind the writers' lock, so that whoever sees a number sees all before it.
	_, err := e.oneStep(statements[lockWriters], "INSERT INTO witnessmark.owed DEFAULT VALUES")
	return err
}

// Owed is the number of the newest such note, 0 for none, and how old the oldest one is.
func (e *Engine) Owed() (newest int64, age time.Duration, err error) {
	got, err := e.oneStep(`SELECT coalesce(max(number), 0), coalesce(floor(extract(epoch FROM now() - min(since)))::bigint, 0) FROM witnessmark.owed`)
	if err != nil {
		return 0, 0, err
	}
	row := got[len(got)-1].Rows[0]
	newest, err = strconv.ParseInt(string(row[0]), 10, 64)
	if err != nil {
		return 0, 0, fmt.Errorf("%s: %w: what is owed has no number", e.place, store.ErrDamaged)
	}
	seconds, _ := strconv.ParseInt(string(row[1]), 10, 64)
	return newest, time.Duration(seconds) * time.Second, nil
}

// Paid takes back the notes up to a number, after a Compact that began when that one was the newest.
func (e *Engine) Paid(number int64) error {
	if err := e.writable(); err != nil {
		return err
	}
	_, err := e.oneStep("DELETE FROM witnessmark.owed WHERE number <= " + strconv.FormatInt(number, 10))
	return err
}

// oneStep runs statements in a transaction of their own, on a connection of its own.
func (e *Engine) oneStep(sql ...string) ([]*pgconn.Result, error) {
	e.using.RLock()
	defer e.using.RUnlock()
	if e.closing.Load() {
		return nil, store.ErrClosed
	}
	c, err := e.connect()
	if err != nil {
		return nil, err
	}
	defer c.close()
	got, err := c.text(context.Background(), strings.Join(slices.Concat([]string{statements[beginUpdate]}, sql, []string{statements[commit]}), ";\n"))
	switch {
	case err != nil:
		return nil, e.explained(err)
	case c.warned:
		return nil, fmt.Errorf("%s: %w: a standby's wait was cancelled", e.place, store.ErrAway)
	}
	return got[:len(got)-1], nil // but for the answer to COMMIT
}
