package desk

import (
	"context"
	"sync"

	"witnessmark/client"
)

// reviews keeps the last reviews, since a sheet's pictures are each asked for by themselves. A
// ledger that has grown makes all of them again.
type reviews struct {
	client *client.Client
	mu     sync.Mutex
	size   uint64
	kept   map[[2]uint32]*reviewing
	order  [][2]uint32
}

// reviewing is a review that several requests may wait for.
type reviewing struct {
	once   sync.Once
	review *client.Review
	err    error
}

// keptReviews bounds the memory: each holds two images.
const keptReviews = 12

func newReviews(c *client.Client) *reviews {
	return &reviews{client: c, kept: map[[2]uint32]*reviewing{}}
}

func (r *reviews) get(ctx context.Context, job, n uint32) (*client.Review, error) {
	key := [2]uint32{job, n}
	r.mu.Lock()
	if size := r.client.Head().Size; size != r.size {
		r.size, r.kept, r.order = size, map[[2]uint32]*reviewing{}, nil
	}
	one, ok := r.kept[key]
	if !ok {
		one = new(reviewing)
		r.kept[key] = one
		r.order = append(r.order, key)
		if len(r.order) > keptReviews {
			delete(r.kept, r.order[0])
			r.order = r.order[1:]
		}
	}
	r.mu.Unlock()
	// Not the request's own context: another one may wait for the same review.
	one.once.Do(func() { one.review, one.err = r.client.Review(context.WithoutCancel(ctx), job, n) })
	if one.err != nil {
		r.mu.Lock()
		if r.kept[key] == one {
			delete(r.kept, key)
		}
		r.mu.Unlock()
	}
	return one.review, one.err
}
