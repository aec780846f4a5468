package memory_test

import (
	"bytes"
	"strings"
	"testing"

	"witnessmark/store"
	"witnessmark/store/memory"
	"witnessmark/store/storetest"
)

func TestEngine(t *testing.T) {
	storetest.Run(t, storetest.Maker{
		New: func(*testing.T) store.Engine { return memory.New() },
		Open: func(t *testing.T, snapshot []byte) store.Engine {
			e, err := memory.Open(bytes.NewReader(snapshot))
			if err != nil {
				t.Fatal(err)
			}
			return e
		},
	})
}

func TestOpenRefusesWhatIsNoSnapshot(t *testing.T) {
	if _, err := memory.Open(strings.NewReader("no snapshot")); err == nil {
		t.Error("opened")
	}
}
