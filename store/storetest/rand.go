package storetest

import (
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"
)

// LongVariable has tests that go on for as long as they are let do so: 3m, say.
const LongVariable = "WITNESSMARK_LONG"

// Long is how long such a test goes on: short where nobody says otherwise.
func Long(t testing.TB, short time.Duration) time.Duration {
	t.Helper()
	text := os.Getenv(LongVariable)
	if text == "" {
		return short
	}
	long, err := time.ParseDuration(text)
	if err != nil {
		t.Fatalf("%s: %v", LongVariable, err)
	}
	return long
}

// During does something again and again for as long as Long says, at least once.
func During(t testing.TB, short time.Duration, fn func()) {
	t.Helper()
	for end := time.Now().Add(Long(t, short)); ; {
		fn()
		if t.Failed() || time.Now().After(end) {
			return
		}
	}
}

// SeedVariable is the environment variable that replays a random test with the seed it printed.
const SeedVariable = "WITNESSMARK_TEST_SEED"

// Rand is a source of random operations; the test's log says how to have the same ones again.
func Rand(t testing.TB) *rand.Rand {
	t.Helper()
	seed := rand.Uint64()
	if text := os.Getenv(SeedVariable); text != "" {
		var err error
		if seed, err = strconv.ParseUint(text, 10, 64); err != nil {
			t.Fatalf("%s: %v", SeedVariable, err)
		}
	}
	t.Logf("%s=%d replays this", SeedVariable, seed)
	return rand.New(rand.NewPCG(seed, 1))
}
