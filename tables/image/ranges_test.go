package image

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// A set of the numbers below 64, as one word: what ranges are held against.
func bitsOf(ranges []Range) (set uint64) {
	for _, r := range ranges {
		for i := r.Start; i < r.End; i++ {
			set |= 1 << i
		}
	}
	return set
}

// rangesOf is the only way to say a set in ranges that ascend and do not touch.
func rangesOf(set uint64) []Range {
	var out []Range
	for i := uint64(0); i < 64; i++ {
		switch {
		case set>>i&1 == 0:
		case i > 0 && set>>(i-1)&1 == 1:
			out[len(out)-1].End++
		default:
			out = append(out, Range{i, i + 1})
		}
	}
	return out
}

func TestRangesAgainstSets(t *testing.T) {
	draw := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Range {
		return Range{rapid.Uint64Range(0, 63).Draw(t, "start"), rapid.Uint64Range(0, 63).Draw(t, "end")}
	}), 0, 9)
	rapid.Check(t, func(t *rapid.T) {
		a, b := draw.Draw(t, "a"), draw.Draw(t, "b")
		before := slices.Clone(a)
		x, y := Join(a), Join(b)
		for what, c := range map[string]struct{ got, want []Range }{
			"join":   {x, rangesOf(bitsOf(a))},
			"minus":  {Minus(x, y), rangesOf(bitsOf(a) &^ bitsOf(b))},
			"common": {Common(x, y), rangesOf(bitsOf(a) & bitsOf(b))},
		} {
			if !slices.Equal(c.got, c.want) {
				t.Fatalf("%s of %v and %v: %v, want %v", what, a, b, c.got, c.want)
			}
		}
		if !slices.Equal(a, before) || !slices.Equal(x, rangesOf(bitsOf(a))) {
			t.Fatal("what went in was changed")
		}
		if back, err := FromMessages(Messages(x)); err != nil || !slices.Equal(back, x) {
			t.Fatalf("as messages: %v, %v", back, err)
		}
	})
}

func TestRangesAsMessages(t *testing.T) {
	top := []Range{{0xFFFF0000, 1 << 32}}
	if back, err := FromMessages(Messages(top)); err != nil || !slices.Equal(back, top) {
		t.Errorf("up to the last address: %v, %v", back, err)
	}
	for _, bad := range [][]uint32{{4, 4}, {4, 3}, {0, 4, 4, 5}, {4, 5, 0, 1}, {0, 4, 2, 8}, {4, 0, 5, 6}} {
		var m []*calibrationv1.AddressRange
		for i := 0; i < len(bad); i += 2 {
			m = append(m, &calibrationv1.AddressRange{Start: bad[i], End: bad[i+1]})
		}
		if got, err := FromMessages(m); err == nil || !strings.Contains(err.Error(), "do not touch") {
			t.Errorf("%v: %v, %v", bad, got, err)
		}
	}
}
