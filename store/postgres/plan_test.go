package postgres

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"

	"witnessmark/store"
	"witnessmark/store/postgres/pgtest"
)

// TestPlans: however much there is, nothing that a transaction asks for is found by going through a table or by
// sorting; the plans are those of the prepared statements themselves.
func TestPlans(t *testing.T) {
	e := open(t, pgtest.URL(t), Options{})
	err := e.Update(func(tx store.WriteTx) (err error) {
		for i := range 5000 {
			err = errors.Join(err, tx.PutDocument(fmt.Sprint("kind", i%7), fmt.Sprint(i), make([]byte, 300)))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	c, err := e.connect()
	if err != nil {
		t.Fatal(err)
	}
	defer c.close()
	for _, again := range []string{"", "ANALYZE"} {
		if _, err := c.text(t.Context(), again); err != nil {
			t.Fatal(err)
		}
		for q, args := range map[query]string{
			readState: "", readEntries: "(1, 10, 1000)", readHashes: "(1, 10)", readHashesOf: "(ARRAY[1])", readBlob: `('\x01')`, readDocument: `('\x01', '\x01')`,
			readDocuments: `(ARRAY['\x01']::bytea[], ARRAY['\x01']::bytea[])`, scanKind: `('\x01', '\x01', 10, 1000)`,
			scanDocuments: `('\x01', '\x01', 10, 1000)`, scanBlobs: `('\x01', 10, 1000)`, deleteBlob: `('\x01', 1)`,
			deleteDocuments: `(ARRAY['\x01']::bytea[], ARRAY['\x01']::bytea[])`, readCommit: "(1)",
		} {
			got, err := c.text(t.Context(), fmt.Sprintf("EXPLAIN EXECUTE w%d%s", q, args))
			if err != nil {
				t.Fatal(err)
			}
			var plan []string
			for _, row := range got[0].Rows {
				plan = append(plan, string(bytes.TrimSpace(row[0])))
			}
			text := strings.ReplaceAll(strings.Join(plan, "\n"), "Seq Scan on state", "") // which has one row
			if strings.Contains(text, "Seq Scan") || strings.Contains(text, "Sort") || strings.Contains(text, "Bitmap") {
				t.Errorf("%q %s:\n%s", again, statements[q], strings.Join(plan, "\n"))
			}
		}
	}
}
