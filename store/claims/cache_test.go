package claims

import (
	"errors"
	"slices"
	"sync"
	"testing"
)

// asked is a cache whose values count how often they were computed.
type asked struct {
	*testing.T
	cache[int]
	n int
}

func (a *asked) get(key string, weight int, want error) int {
	a.Helper()
	v, err := a.cache.get(key, func() (int, int, error) { a.n++; return a.n, weight, want })
	if err != want {
		a.Errorf("%s: %v", key, err)
	}
	return v
}

// What was asked for longest ago goes, and what failed is not kept.
func TestCacheIsBounded(t *testing.T) {
	c := &asked{T: t, cache: cache[int]{most: 2, room: 10}}
	bad := errors.New("bad")
	a, b := c.get("a", 1, nil), c.get("b", 1, nil)
	c.get("c", 1, bad)
	if c.get("b", 1, nil) != b || c.get("a", 1, nil) != a || c.n != 3 {
		t.Errorf("%d computed", c.n)
	}
	c.get("c", 1, nil)
	if !slices.Equal(c.order, []string{"a", "c"}) || len(c.kept) != 2 || c.weight != 2 {
		t.Errorf("kept %v, weight %d", c.order, c.weight)
	}
}

// What weighs too much together goes, but for what came last.
func TestCacheIsBoundedByWeight(t *testing.T) {
	c := &asked{T: t, cache: cache[int]{most: 9, room: 10}}
	c.get("a", 4, nil)
	c.get("b", 4, nil)
	c.get("c", 5, nil)
	if !slices.Equal(c.order, []string{"b", "c"}) || c.weight != 9 {
		t.Errorf("kept %v, weight %d", c.order, c.weight)
	}
	c.get("d", 40, nil)
	if !slices.Equal(c.order, []string{"d"}) || len(c.kept) != 1 || c.weight != 40 {
		t.Errorf("kept %v, weight %d", c.order, c.weight)
	}
}

// Many who ask at once wait for one, also where it fails first, or ends in a panic.
func TestCacheComputesOnce(t *testing.T) {
	for name, first := range map[string]func() (int, int, error){
		"well":  func() (int, int, error) { return 7, 1, nil },
		"badly": func() (int, int, error) { return 0, 0, errors.New("bad") },
		"panic": func() (int, int, error) { panic("bad") },
	} {
		c := &cache[int]{most: 2, room: 10}
		begun, finish := make(chan struct{}), make(chan struct{})
		var all sync.WaitGroup
		all.Go(func() {
			defer func() { _ = recover() }()
			_, _ = c.get("a", func() (int, int, error) { close(begun); <-finish; return first() })
		})
		<-begun
		for range 8 {
			all.Go(func() {
				if v, err := c.get("a", func() (int, int, error) { return 7, 1, nil }); v != 7 || err != nil {
					t.Errorf("%s: %d, %v", name, v, err)
				}
			})
		}
		close(finish)
		all.Wait()
		want := uint64(1)
		if name != "well" {
			want = 2
		}
		if n := c.computed.Load(); n != want || len(c.order) != 1 {
			t.Errorf("%s: computed %d times, kept %v", name, n, c.order)
		}
	}
}
