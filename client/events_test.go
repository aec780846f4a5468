package client

import (
	"slices"
	"testing"
)

// Events go from the newest down, from wherever they are asked for, and no further than they are wanted;
// who was retired, or has another key by now, is still called by name.
func TestEvents(t *testing.T) {
	w := newWorld(t)
	w.submit("\x0a\x0b\x0c\x0e")
	w.must(w.lead.Retire(ctx, "cal", false))
	w.many(2 * listed)
	w.must(nil, w.tech.Sync(ctx))
	size := w.tech.Head().Size
	list := func(before uint64, most int) (out []Event) {
		w.must(nil, w.tech.Events(before, func(e Event) bool {
			out = append(out, e)
			return len(out) != most
		}))
		return out
	}
	all := list(0, 0)
	if uint64(len(all)) != size || size <= 2*listed {
		t.Fatalf("%d events of %d entries", len(all), size)
	}
	for i, e := range all {
		if e.Entry != size-1-uint64(i) {
			t.Fatalf("event %d is entry %d", i, e.Entry)
		}
	}
	if last := all[size-1]; last.Kind != "genesis" || last.Person != "lead" {
		t.Errorf("entry 0: %+v", last)
	}
	submission := w.sub().GetSubmitted()
	if e := all[size-1-uint64(submission.GetEntry())]; e.Kind != "submission" || e.Person != "cal" || e.SignedAt != submission.GetSignedAt() || e.AdmittedAt != admittedAt {
		t.Errorf("the submission: %+v", e)
	}
	for _, before := range []uint64{1, listed, listed + 1, size, size + 9} {
		for _, most := range []int{1, 2, listed, listed + 1, 0} {
			want := all[size-min(before, size):]
			if most != 0 {
				want = want[:min(most, len(want))]
			}
			if got := list(before, most); !slices.Equal(got, want) {
				t.Errorf("below %d, %d at most: %d events from %+v", before, most, len(got), got[0])
			}
		}
	}
}
