package image

import (
	"sync"
	"testing"
)

// What is known of an image is computed of its own bytes, once for each key, whoever asks first.
func TestKnownIsOfTheBytes(t *testing.T) {
	a, b := Whole(0, []byte{1, 2}), Whole(0, []byte{3, 4})
	sum := func(b []byte) int { return int(b[0]) + int(b[1]) }
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			if x, y := Known(a, "sum", sum), Known(b, "sum", sum); x != 3 || y != 7 {
				t.Errorf("%d and %d", x, y)
			}
		})
	}
	all.Wait()
	if again := Known(a, "sum", func([]byte) int { t.Error("computed again"); return 0 }); again != 3 {
		t.Errorf("%d", again)
	}
	if other := Known(a, "first", func(b []byte) byte { return b[0] }); other != 1 {
		t.Errorf("another key gives %d", other)
	}
	if encoded, err := FromMessage(a.Message(), a.Space, []byte{1, 2}); err != nil || Known(encoded, "sum", func([]byte) int { return -1 }) != -1 {
		t.Errorf("of an image that came from elsewhere something is known: %v", err)
	}
}
