package arena

import "testing"

func TestWhatIsHandedOutIsApart(t *testing.T) {
	var a Of[int]
	var all [][]int
	for n := range 200 {
		one := a.Take(n)
		if len(one) != n || cap(one) != n {
			t.Fatalf("%d items with room for %d, want %d", len(one), cap(one), n)
		}
		for i, v := range one {
			if v != 0 {
				t.Fatalf("item %d of %d is %d before it was written", i, n, v)
			}
			one[i] = n
		}
		all = append(all, one)
	}
	for n, one := range all {
		for _, v := range one {
			if v != n {
				t.Fatalf("what was handed out as %d holds %d", n, v)
			}
		}
	}
	if p, q := a.One(), a.One(); p == q {
		t.Error("one item was handed out twice")
	}
}
