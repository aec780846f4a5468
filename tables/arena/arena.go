// Package arena hands out many small slices of few large ones: of thousands of tables each wants some numbers.
package arena

// most is the largest number of items that are made beyond what was asked for.
const most = 1 << 15

// Of hands out items of a type; the zero value is ready. What it handed out lives as long as its neighbours do.
type Of[T any] struct {
	free  []T
	taken int
}

// Take is n zero items, with room for no more.
func (a *Of[T]) Take(n int) []T {
	if n > len(a.free) {
		a.free = make([]T, max(n, min(a.taken, most)))
	}
	out := a.free[:n:n]
	a.free = a.free[n:]
	a.taken += n
	return out
}

// One is one zero item.
func (a *Of[T]) One() *T { return &a.Take(1)[0] }
