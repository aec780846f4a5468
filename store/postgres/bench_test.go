package postgres_test

import (
	"errors"
	"fmt"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"

	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/postgres"
	"witnessmark/store/postgres/pgtest"
)

// BenchmarkEngines has the embedded engine and this one do the same, in one run, so that ratios can be read.
func BenchmarkEngines(b *testing.B) {
	for _, engine := range []struct {
		name string
		make func(b *testing.B) (store.Engine, error)
	}{
		{"bolt", func(b *testing.B) (store.Engine, error) { return bolt.Create(filepath.Join(b.TempDir(), "ledger.db")) }},
		{"postgres", func(b *testing.B) (store.Engine, error) {
			return postgres.Create(b.Context(), pgtest.URL(b), postgres.Options{})
		}},
	} {
		for _, c := range []struct {
			name string
			run  func(b *testing.B, e store.Engine)
		}{
			{"ViewGet", viewGet}, {"ViewTen", viewTen}, {"ViewTenOfOthers", viewOthers}, {"Scan1000", scan1000}, {"CheckSum", checkSum}, {"Update", updateOne}, {"Writers16", writers16},
		} {
			b.Run(c.name+"/"+engine.name, func(b *testing.B) {
				e, err := engine.make(b)
				if err != nil {
					b.Fatal(err)
				}
				defer e.Close()
				err = e.Update(func(tx store.WriteTx) error {
					var err error
					for i := range 1000 {
						err = errors.Join(err, tx.PutDocument("job", fmt.Sprintf("%010d", i), make([]byte, 500)))
					}
					return err
				})
				if err != nil {
					b.Fatal(err)
				}
				b.ResetTimer()
				c.run(b, e)
			})
		}
	}
}

func check(b *testing.B, err error) {
	if err != nil {
		b.Fatal(err)
	}
}

func get(tx store.ReadTx, i int) error {
	_, err := tx.Document("job", fmt.Sprintf("%010d", i%1000))
	return err
}

func viewGet(b *testing.B, e store.Engine) {
	for i := range b.N {
		check(b, e.View(func(tx store.ReadTx) error { return get(tx, i) }))
	}
}

// viewTen looks at the same ten documents again and again, as the pages of one job do.
func viewTen(b *testing.B, e store.Engine) {
	for range b.N {
		check(b, e.View(func(tx store.ReadTx) (err error) {
			for i := range 10 {
				err = errors.Join(err, get(tx, i))
			}
			return err
		}))
	}
}

// viewOthers does so while each look comes after a write of something else.
func viewOthers(b *testing.B, e store.Engine) {
	for i := range b.N {
		b.StopTimer()
		check(b, e.Update(func(tx store.WriteTx) error { return tx.PutDocument("car", fmt.Sprint(i), nil) }))
		b.StartTimer()
		check(b, e.View(func(tx store.ReadTx) (err error) {
			for i := range 10 {
				err = errors.Join(err, get(tx, i))
			}
			return err
		}))
	}
}

func scan1000(b *testing.B, e store.Engine) {
	for range b.N {
		check(b, e.View(func(tx store.ReadTx) error {
			return tx.Scan("job", "", func(string, []byte) (bool, error) { return true, nil })
		}))
	}
}

func checkSum(b *testing.B, e store.Engine) {
	for range b.N {
		check(b, e.View(store.CheckSum))
	}
}

// write is what an action comes to: some documents read, some written, an entry.
func write(e store.Engine, id string) error {
	return e.Update(func(tx store.WriteTx) error {
		n, err := tx.Entries()
		for i := range 10 {
			err = errors.Join(err, get(tx, i))
		}
		for i := range 10 {
			err = errors.Join(err, tx.PutDocument("event", fmt.Sprint(id, i), make([]byte, 300)))
		}
		return errors.Join(err, tx.PutEntry(n, make([]byte, 1000)))
	})
}

func updateOne(b *testing.B, e store.Engine) {
	for i := range b.N {
		check(b, write(e, fmt.Sprint(i)))
	}
}

// BenchmarkTwoEngines has two engines write one database in turn, so that each finds what it remembers outdated.
func BenchmarkTwoEngines(b *testing.B) {
	url := pgtest.URL(b)
	var engines []store.Engine
	for range 2 {
		e, err := postgres.Open(b.Context(), url, postgres.Options{})
		check(b, err)
		defer e.Close()
		engines = append(engines, e)
	}
	check(b, engines[0].Update(func(tx store.WriteTx) (err error) {
		for i := range 1000 {
			err = errors.Join(err, tx.PutDocument("job", fmt.Sprintf("%010d", i), make([]byte, 500)))
		}
		return err
	}))
	for _, c := range []struct {
		name string
		step int
	}{{"One", 0}, {"InTurn", 1}} {
		b.Run(c.name, func(b *testing.B) {
			for i := range b.N {
				check(b, write(engines[i*c.step%2], fmt.Sprint(c.name, b.N, " ", i)))
			}
		})
	}
}

func writers16(b *testing.B, e store.Engine) {
	var all sync.WaitGroup
	var next atomic.Int64
	for range 16 {
		all.Go(func() {
			for {
				i := next.Add(1)
				if i > int64(b.N) {
					return
				}
				if err := write(e, fmt.Sprint(i)); err != nil {
					b.Error(err)
				}
			}
		})
	}
	all.Wait()
}
