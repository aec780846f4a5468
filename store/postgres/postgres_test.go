package postgres_test

import (
	"os"
	"path/filepath"
	"testing"

	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/postgres"
	"witnessmark/store/postgres/pgtest"
	"witnessmark/store/storetest"
)

func create(t *testing.T, url string) *postgres.Engine {
	t.Helper()
	e, err := postgres.Create(t.Context(), url, postgres.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { e.Close() })
	return e
}

func TestEngine(t *testing.T) {
	storetest.Run(t, storetest.Maker{
		New: func(t *testing.T) store.Engine { return create(t, pgtest.URL(t)) },
		Open: func(t *testing.T, snapshot []byte) store.Engine {
			path := filepath.Join(t.TempDir(), "copy.db")
			if err := os.WriteFile(path, snapshot, 0o600); err != nil {
				t.Fatal(err)
			}
			e, err := bolt.Open(path)
			if err != nil {
				t.Fatal(err)
			}
			return e
		},
	})
}
