package bounded

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// TestTheSameEverywhere: answers and counts of boxes of fixed problems, to the last bit. They are part of what a report
// means: whoever changes this sum changes reports.
func TestTheSameEverywhere(t *testing.T) {
	sum, boxes := fnv.New64a(), 0
	for seed := range uint64(40) {
		g := newRig(seed, 1+int(seed%4))
		value, limit := g.any(3), g.bilinear(1)
		p := g.problem(value, limit, g.changed(value), limit)
		p.Budget = 1000
		r := Judge(p)
		fmt.Fprintln(sum, r)
		boxes += r.Boxes
	}
	if got := fmt.Sprintf("%x", sum.Sum64()); got != "aa7aa178d80d2ce1" || boxes != 15769 {
		t.Errorf("%s, %d boxes", got, boxes)
	}
}

// TestOrderOfTheQueue: greatest bound first, then the earlier cell, then the lower part.
func TestOrderOfTheQueue(t *testing.T) {
	whole := part{inputs: 3}
	lower, upper, _ := whole.halves(deciding)
	left, right, _ := lower.halves(deciding)
	if lower.start != upper.start && lower.depth[0] != 1 || left.depth[1] != 1 {
		t.Errorf("%v and %v of one, %v of the lower: equal sides are halved in order of inputs", lower, upper, left)
	}
	var want []part
	for _, bound := range []float64{math.Inf(1), 7, -1} {
		for slot := range int32(3) {
			for _, q := range []part{left, upper, right} { // the second input is outermost
				q.upper, q.slot = bound, slot
				want = append(want, q)
			}
		}
	}
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 0))
	for range 50 {
		mixed := slices.Clone(want)
		r.Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
		made := queue(slices.Clone(mixed))
		made.order()
		var pushed queue
		for _, q := range mixed {
			pushed.push(q)
		}
		for i := range want {
			if a, b := made.pop(), pushed.pop(); a != want[i] || b != want[i] {
				t.Fatalf("seed %d: at %d %v and %v, want %v", seed, i, a, b, want[i])
			}
		}
	}
}
