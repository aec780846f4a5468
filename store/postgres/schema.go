package postgres

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"strconv"

	"witnessmark/store"
)

// schema is made by its steps, of which each leads to the next form. A step that was ever handed out stays as it is.
// Columns have no statistics, since those are samples of what they hold.
var schema = []string{`
CREATE SCHEMA IF NOT EXISTS witnessmark;
CREATE TABLE witnessmark.state (
	one boolean PRIMARY KEY DEFAULT true CHECK (one),
	form bigint NOT NULL,
	updates bigint NOT NULL,         -- how many there were
	newest bytea NOT NULL,           -- the id of the last one
	sum bytea NOT NULL,              -- of the documents
	blobs_deleted bigint NOT NULL,   -- the update that last deleted or replaced one
	blobs_compacted bigint NOT NULL  -- the update whose deletions are gone from the files
) WITH (fillfactor = 20);
CREATE TABLE witnessmark.entries (number bigint PRIMARY KEY, entry bytea NOT NULL);
CREATE TABLE witnessmark.hashes (number bigint PRIMARY KEY, hash bytea NOT NULL);
CREATE TABLE witnessmark.blobs (sha256 bytea PRIMARY KEY, packed bytea NOT NULL);
CREATE TABLE witnessmark.documents (kind bytea, key bytea, value bytea NOT NULL, PRIMARY KEY (kind, key)) WITH (fillfactor = 80);
CREATE TABLE witnessmark.commits (slot bigint PRIMARY KEY, number bigint NOT NULL, id bytea NOT NULL) WITH (fillfactor = 50);
ALTER TABLE witnessmark.entries ALTER entry SET STATISTICS 0;
ALTER TABLE witnessmark.blobs ALTER sha256 SET STATISTICS 0, ALTER packed SET STATISTICS 0, ALTER packed SET STORAGE EXTERNAL;
ALTER TABLE witnessmark.documents ALTER kind SET STATISTICS 0, ALTER key SET STATISTICS 0, ALTER value SET STATISTICS 0;
INSERT INTO witnessmark.state VALUES (true, 0, 0, decode(repeat('00', 16), 'hex'), decode(repeat('00', 32), 'hex'), 0, 0);
CREATE TABLE witnessmark.owed (number bigserial PRIMARY KEY, since timestamptz NOT NULL DEFAULT now()); -- compactions
`}

// upgrade takes the schema to its newest form, in one transaction and behind the writers' lock, which it asks for only where
// there is something to do: who holds it may have to wait for a standby that is away.
func (e *Engine) upgrade(ctx context.Context, c *conn, steps []string) error {
	form, err := readForm(ctx, c)
	switch {
	case err != nil:
		return err
	case form == 0 && e.options.ReadOnly:
		return refusal("it holds no ledger")
	case form >= len(steps) || e.options.ReadOnly:
		return checkForm(form)
	}
	for _, statement := range []query{beginUpdate, lockWriters} {
		if _, err := c.text(ctx, statements[statement]); err != nil {
			return err
		}
	}
	if form, err = readForm(ctx, c); err != nil {
		return err
	}
	if form >= len(steps) {
		return checkForm(form)
	}
	for _, step := range steps[form:] {
		if _, err := c.text(ctx, step); err != nil {
			return err
		}
	}
	_, err = c.text(ctx, fmt.Sprintf("UPDATE witnessmark.state SET form = %d; COMMIT", len(steps)))
	if err == nil {
		e.options.Log.Info("the database's schema was made or upgraded", "database", e.place, "from", form, "to", len(steps))
	}
	return err
}

// ErrNewer is a database whose schema a newer version made or upgraded. Nothing was changed.
var ErrNewer = errors.New("upgrade this program, which knows no schema as new as that")

// checkForm refuses a schema that is not of this version.
func checkForm(form int) error {
	switch {
	case form > len(schema):
		return fmt.Errorf("%w: it has the form %d, and the newest known is %d", ErrNewer, form, len(schema))
	case form < len(schema):
		return refusal("it is of an older version; a server of this one upgrades it when it starts")
	}
	return nil
}

// readForm is 0 where there is no schema.
func readForm(ctx context.Context, c *conn) (int, error) {
	got, err := c.text(ctx, `SELECT to_regclass('witnessmark.state') IS NOT NULL`)
	if err != nil || string(got[0].Rows[0][0]) != "t" {
		return 0, err
	}
	if got, err = c.text(ctx, `SELECT form FROM witnessmark.state`); err != nil {
		return 0, err
	}
	if len(got[0].Rows) != 1 {
		return 0, fmt.Errorf("%w: its state has %d rows", store.ErrDamaged, len(got[0].Rows))
	}
	return strconv.Atoi(string(got[0].Rows[0][0]))
}

// state is how far a store is, as a transaction saw it when it began.
type state struct {
	update
	sum                store.Sum
	deleted, compacted int64 // updates: see schema
	entries            uint64
}

func parseState(a answer) (s state, err error) {
	row := a.one()
	if row == nil || len(row[2]) != idSize || len(row[3]) != len(s.sum) {
		return s, fmt.Errorf("%w: its state has another shape", store.ErrDamaged)
	}
	number := func(i int) int64 { return int64(binary.BigEndian.Uint64(row[i])) }
	if err := checkForm(int(number(0))); err != nil {
		return s, err
	}
	return state{update{number(1), [idSize]byte(row[2])}, store.Sum(row[3]), number(4), number(5), uint64(number(6))}, nil
}

// empty is os.ErrExist for a store that holds anything.
func (e *Engine) empty(tx store.ReadTx) error {
	n, err := tx.Entries()
	if err != nil {
		return err
	}
	held := n > 0
	for _, look := range []func() error{
		func() error {
			return tx.Documents(func(string, string, []byte) (bool, error) { held = true; return false, nil })
		},
		func() error { return tx.Blobs(func(string, []byte) (bool, error) { held = true; return false, nil }) },
	} {
		if err := look(); err != nil {
			return err
		}
	}
	if held {
		return fmt.Errorf("%s: it holds a ledger already, of %d entries: %w", e.place, n, os.ErrExist)
	}
	return nil
}
