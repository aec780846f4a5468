package limits

import (
	"testing"

	"witnessmark/tables/surface"
)

// One raw step of a 64-bit breakpoint beyond 2^53 is no step of a float64, and a difference all the same.
func TestFrozenSeesEveryBitOfABreakpoint(t *testing.T) {
	const far = 1 << 60
	for _, c := range []struct {
		now  uint64
		want string
	}{
		{far + 1, "a introduced 1x 1.1529215e+18/1.1529215e+18 by 0 x=1.152921504606847e+18 [0,1]"},
		{far, ""},
	} {
		s := sheet{id: "a", unit: "deg", x: []float64{1, far}, v: []float64{3, 4}}
		in := judging([]sheet{s}, []sheet{s})
		with := func(last uint64) func(string) *surface.Decoded {
			d := s.decoded()
			d.XBits = []uint64{1, last}
			return func(string) *surface.Decoded { return d }
		}
		in.Base, in.Candidate = with(far), with(c.now)
		out := judged(t, in, rule(`{"select":{"tables":["a"]},"frozen":{}}`))
		if got := sayAll(out.Findings); got != c.want {
			t.Errorf("breakpoint %d: got %s\nwant %s", c.now, got, c.want)
		}
		if len(out.Findings) > 0 && out.Findings[0].Worst.GetAlong() != "x" {
			t.Error("the finding does not say that its value is a breakpoint of x")
		}
	}
}
