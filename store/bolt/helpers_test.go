package bolt_test

import (
	"testing"

	"witnessmark/store"
)

// put appends one entry.
func put(t *testing.T, e store.Engine, entry string) {
	t.Helper()
	if err := appendEntry(e, entry); err != nil {
		t.Fatal(err)
	}
}

func appendEntry(e store.Engine, entry string) error {
	return e.Update(func(tx store.WriteTx) error {
		n, err := tx.Entries()
		if err != nil {
			return err
		}
		return tx.PutEntry(n, []byte(entry))
	})
}

func entries(t *testing.T, e store.Engine) []string {
	t.Helper()
	out, err := readEntries(e)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func readEntries(e store.Engine) (out []string, err error) {
	err = e.View(func(tx store.ReadTx) error {
		n, err := tx.Entries()
		if err != nil {
			return err
		}
		for i := range n {
			entry, err := tx.Entry(i)
			if err != nil {
				return err
			}
			out = append(out, string(entry))
		}
		return nil
	})
	return out, err
}
