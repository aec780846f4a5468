package server

import (
	"context"
	"errors"
	"fmt"

	"google.golang.org/grpc/codes"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
)

// maxEntries and maxEntryBytes bound one answer of ListEntries; at least one entry always comes.
const (
	maxEntries    = 1000
	maxEntryBytes = 2 << 20
)

type ledgerServer struct {
	servicev1.UnimplementedLedgerServer
	*service
}

// entries copies out committed entries from first on, until a bound is reached.
func (s *ledgerServer) entries(first uint64, want uint32) (out [][]byte, err error) {
	var size uint64
	s.core.read(func(h *history) { size = h.state.Size }) // not more than the checkpoint covers
	err = s.core.engine.View(func(tx store.ReadTx) error {
		out = nil
		bytes := 0
		for i := first; i < size && uint32(len(out)) < want; i++ {
			b, err := tx.Entry(i)
			if err != nil {
				return fmt.Errorf("entry %d: %w", i, err)
			}
			if bytes += len(b); bytes > maxEntryBytes && len(out) > 0 {
				return nil
			}
			out = append(out, b)
		}
		return nil
	})
	return out, err
}

func (s *ledgerServer) GetGenesis(context.Context, *servicev1.GetGenesisRequest) (*servicev1.GetGenesisResponse, error) {
	e, err := s.entries(0, 1)
	if err != nil {
		return nil, err
	}
	if len(e) != 1 {
		return nil, errors.New("the ledger has no genesis")
	}
	return &servicev1.GetGenesisResponse{Entry: e[0]}, nil
}

func (s *ledgerServer) GetCheckpoint(context.Context, *servicev1.GetCheckpointRequest) (*servicev1.GetCheckpointResponse, error) {
	note, _ := s.core.head()
	return &servicev1.GetCheckpointResponse{Checkpoint: note}, nil
}

func (s *ledgerServer) ListEntries(_ context.Context, r *servicev1.ListEntriesRequest) (*servicev1.ListEntriesResponse, error) {
	want := r.GetPageSize()
	switch {
	case want > maxEntries:
		return nil, invalid("page-size", "page_size", "0 to 1000", "page_size is %d; allowed are 0 to %d", want, maxEntries)
	case want == 0:
		want = maxEntries
	}
	e, err := s.entries(r.GetFirst(), want)
	return &servicev1.ListEntriesResponse{First: r.GetFirst(), Entries: e}, err
}

func (s *ledgerServer) ProveInclusion(_ context.Context, r *servicev1.ProveInclusionRequest) (*servicev1.ProveInclusionResponse, error) {
	out := &servicev1.ProveInclusionResponse{}
	err := s.prove(r.GetSize(), "size", func(h *history) (err error) {
		if r.GetIndex() >= r.GetSize() {
			return invalid("range", "index", "below size", "entry %d is not in a tree of %d", r.GetIndex(), r.GetSize())
		}
		out.Hashes, err = h.tree.ProveInclusion(r.GetIndex(), r.GetSize())
		return err
	})
	return out, err
}

func (s *ledgerServer) ProveConsistency(_ context.Context, r *servicev1.ProveConsistencyRequest) (*servicev1.ProveConsistencyResponse, error) {
	out := &servicev1.ProveConsistencyResponse{}
	err := s.prove(r.GetTo(), "to", func(h *history) (err error) {
		if r.GetFrom() > r.GetTo() {
			return invalid("range", "from", "at most to", "a tree of %d is not part of one of %d", r.GetFrom(), r.GetTo())
		}
		out.Hashes, err = h.tree.ProveConsistency(r.GetFrom(), r.GetTo())
		return err
	})
	return out, err
}

// prove makes a proof in a tree of some size, which must be one that the ledger has had.
func (s *ledgerServer) prove(size uint64, at string, fn func(h *history) error) (err error) {
	s.core.read(func(h *history) {
		if size > h.tree.Size() {
			err = invalid("range", at, fmt.Sprintf("at most %d", h.tree.Size()), "the ledger has %d entries, not %d", h.tree.Size(), size)
			return
		}
		err = fn(h)
	})
	return err
}

// Watch sends the newest checkpoint now and whenever there is a newer one. A watcher that
// reads slowly misses what lies between: several become one.
func (s *ledgerServer) Watch(_ *servicev1.WatchRequest, stream servicev1.Ledger_WatchServer) error {
	for {
		note, changed := s.core.head()
		if err := stream.Send(&servicev1.WatchResponse{Checkpoint: note}); err != nil {
			return err
		}
		select {
		case <-changed:
		case <-stream.Context().Done():
			return stream.Context().Err()
		case <-s.stop:
			return &fault{code: codes.Unavailable, reason: "stopping", text: "the server is stopping"}
		}
	}
}
