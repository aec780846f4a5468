package definition

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Names of raw values as they are written, and what raw values are called then; by hand.
func TestLabels(t *testing.T) {
	for _, tt := range []struct {
		typ, labels string
		want        map[int64]string
	}{
		{"u8", `"1..3": part, 0: off`, map[int64]string{0: "off", 1: "part", 2: "part", 3: "part", 4: "raw 4", 255: "raw 255"}},
		{"u8", `else: full, "0x10..0x1F": mid, 0: off`, map[int64]string{0: "off", 1: "full", 15: "full", 16: "mid", 31: "mid", 32: "full", 255: "full"}},
		{"s8", `"-128..-1": below, "1 .. 127": above`, map[int64]string{-128: "below", -1: "below", 0: "raw 0", 1: "above", 127: "above"}},
		{"s16", `-2: a, -1: b, "-32768..-3": c`, map[int64]string{-32768: "c", -3: "c", -2: "a", -1: "b", 0: "raw 0"}},
		{"u8", `else: any`, map[int64]string{0: "any", 200: "any"}},
		{"u64", `"0..9223372036854775807": low, else: high`, map[int64]string{0: "low", 9223372036854775807: "low"}},
	} {
		c := one(t, "big", "address: 0, type: "+tt.typ, "labels: {"+tt.labels+"}", 8)
		for raw, want := range tt.want {
			if got := c.Conv.Label(raw); got != want {
				t.Errorf("{%s}: %d is %q, want %q", tt.labels, raw, got, want)
			}
		}
	}
}

// Ranges in any order that share no value name each value by the range that holds it; those that share one are refused.
func TestLabelRanges(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		named := map[int64]string{}
		shared := false
		var keys []string
		for i := range rapid.IntRange(1, 6).Draw(t, "ranges") {
			low := rapid.Int64Range(-20, 20).Draw(t, fmt.Sprintf("low %d", i))
			high := low + rapid.Int64Range(0, 6).Draw(t, fmt.Sprintf("length %d", i))
			key := fmt.Sprintf("%d..%d", low, high)
			if low == high && rapid.Bool().Draw(t, fmt.Sprintf("single %d", i)) {
				key = fmt.Sprint(low)
			}
			for _, k := range keys {
				if strings.HasPrefix(k, `"`+key+`"`) { // YAML's own fault
					return
				}
			}
			for raw := low; raw <= high; raw++ {
				if _, twice := named[raw]; twice {
					shared = true
				}
				named[raw] = fmt.Sprintf("n%d", i)
			}
			keys = append(keys, fmt.Sprintf("%q: n%d", key, i))
		}
		other := rapid.Bool().Draw(t, "else")
		if other {
			keys = append(keys, "else: other")
		}
		file := "{name: d, byte_order: big, image: {size: 1}, tables: [{id: t, stored: {address: 0, type: s8}, conversion: {labels: {" + strings.Join(keys, ", ") + "}}}]}"
		lay, err := Load("d", []byte(file))
		if shared {
			if err == nil || !strings.Contains(err.Error(), "allowed: each raw value once") {
				t.Fatalf("%s: %v", file, err)
			}
			return
		}
		if err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		for raw := int64(-128); raw < 128; raw++ {
			want, ok := named[raw]
			if !ok && other {
				want, ok = "other", true
			}
			if got, has := lay.Tables[0].Cells.Conv.Labels.Of(raw); got != want || has != ok {
				t.Fatalf("%s: %d is %q %v, want %q %v", file, raw, got, has, want, ok)
			}
		}
	})
}
