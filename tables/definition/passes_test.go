package definition

import (
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/yamldoc"
)

// The pass that keeps no places finds a fault where the one that keeps them finds one, and the same layout where there is none.
func TestPassesAgree(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rnd := rand.New(rand.NewPCG(seed, 0))
	docs := []string{sound, computed, rich}
	for _, tt := range refusals {
		docs = append(docs, strings.Replace(sound, tt.old, tt.new, 1))
	}
	for _, tt := range richRefusals {
		docs = append(docs, strings.Replace(rich, tt.old, tt.new, 1))
	}
	for _, tt := range sumRefusals {
		docs = append(docs, sumFile(tt.base), sumFile(strings.Replace(tt.base, tt.from, tt.to, 1)))
	}
	for range 500 {
		docs = append(docs, otherDigits(rnd, docs[rnd.IntN(3)]))
	}
	sure, faulty := 0, 0
	for _, doc := range docs {
		d := &calibrationv1.Definition{}
		at, err := yamldoc.Decode("d", []byte(doc), d)
		if err != nil {
			continue
		}
		first, found := compileOnce(at, "", d, false)
		second, told := compileOnce(at, "", d, true)
		if (len(found) == 0) != (len(told) == 0) {
			t.Fatalf("seed %d: the first pass finds %v, the second %v\n%s", seed, found, told, doc)
		}
		if len(told) > 0 {
			faulty++
			continue
		}
		for _, lay := range []*Layout{first, second} { // without functions, which equal nothing
			lay.index = nil
			for _, sum := range lay.Checksums {
				sum.algorithm = nil
			}
		}
		if sure++; !reflect.DeepEqual(first, second) {
			t.Fatalf("seed %d: two layouts\n%s", seed, doc)
		}
	}
	if sure < 20 || faulty < 20 {
		t.Errorf("seed %d: %d definitions without a fault, %d with one", seed, sure, faulty)
	}
}

// otherDigits puts another digit in the place of one or two.
func otherDigits(rnd *rand.Rand, doc string) string {
	b := []byte(doc)
	for n := 1 + rnd.IntN(2); n > 0; {
		if i := rnd.IntN(len(b)); b[i] >= '0' && b[i] <= '9' {
			b[i] = byte('0' + rnd.IntN(10))
			n--
		}
	}
	return string(b)
}
