package yamldoc

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// agree reads a file both ways, up to the first fault and beyond it.
func agree(t *testing.T, file []byte, kind proto.Message) (accepted bool) {
	t.Helper()
	for _, all := range []bool{false, true} {
		fast, slow := proto.Clone(kind), proto.Clone(kind)
		_, got := decode("f", file, fast, &decoder{multiline: []string{"reason"}, all: all})
		want := slowly("f", file, slow, all, "reason")
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Fatalf("%q\nfast: %v\nslow: %v", file, got, want)
		}
		if !proto.Equal(fast, slow) {
			t.Fatalf("%q, %v\nfast: %v\nslow: %v", file, got, fast, slow)
		}
		accepted = len(want) == 0
	}
	return accepted
}

// Files with a few lines, words and characters in other places are read, or refused with the same faults, as they are slowly.
func TestAgreesWithSlow(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rnd := rand.New(rand.NewPCG(seed, 0))
	var accepted, refused int
	for name, kind := range map[string]proto.Message{
		"demo/dx1-1.8t.yaml": &calibrationv1.Definition{}, "demo/dx1-road-98.yaml": &calibrationv1.Limits{},
	} {
		file, err := os.ReadFile("../../testdata/" + name)
		if err != nil {
			t.Fatal(err)
		}
		if !agree(t, file, kind) {
			t.Errorf("%s is refused", name)
		}
		for range 150 {
			if agree(t, mutated(rnd, file), kind) {
				accepted++
			} else {
				refused++
			}
		}
	}
	if accepted == 0 || refused == 0 {
		t.Errorf("seed %d: %d accepted, %d refused", seed, accepted, refused)
	}
}

var odd = []string{"~", "{}", "[]", "[1, 2]", "{a: b}", "0x10", "010", "1e999", ".nan", "-1", "1.5", "yes", "true", "\"text\"", "|", "*a", "&a", "!own x", "<<", "\x7f", "é", "\u202e", "4294967296", "2026-01-01"}

// mutated is a part of a file in which one to three things are changed.
func mutated(rnd *rand.Rand, file []byte) []byte {
	lines := bytes.Split(file, []byte("\n"))
	for range 1 + rnd.IntN(3) {
		i := rnd.IntN(len(lines))
		line := string(lines[i])
		switch words := strings.Fields(line); rnd.IntN(5) {
		case 0: // left out
			lines = slices.Delete(slices.Clone(lines), i, i+1)
		case 1: // said twice
			lines = slices.Insert(slices.Clone(lines), i, lines[i])
		case 2: // another value
			if key, _, ok := strings.Cut(line, ": "); ok {
				lines[i] = []byte(key + ": " + odd[rnd.IntN(len(odd))])
			}
		case 3: // a word of it
			if len(words) > 0 {
				lines[i] = []byte(strings.Replace(line, words[rnd.IntN(len(words))], odd[rnd.IntN(len(odd))], 1))
			}
		case 4: // a character
			if at := rnd.IntN(len(line) + 1); at < len(line) {
				lines[i] = []byte(line[:at] + string(rune(32+rnd.IntN(96))) + line[at+1:])
			}
		}
	}
	return bytes.Join(lines, []byte("\n"))
}

// What decides about numbers byte by byte says what the patterns say that it was written from.
func TestNumbersByPattern(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rnd := rand.New(rand.NewPCG(seed, 0))
	for range 200_000 {
		s := make([]byte, rnd.IntN(7))
		for i := range s {
			s[i] = "00199af.-+eExX _"[rnd.IntN(16)]
		}
		if text := string(s); isWhole(text) != wholeNumber.MatchString(text) || isDecimal(text) != decimal.MatchString(text) {
			t.Fatalf("seed %d: %q", seed, text)
		}
	}
}
