package server

import (
	"bytes"
	"context"
	"fmt"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/record"
)

type recordServer struct {
	servicev1.UnimplementedRecordServer
	*core
	spool    *spool
	bounds   *bounds
	stopping <-chan struct{} // closed when the server begins to stop
}

func (s *recordServer) Head(context.Context, *servicev1.HeadRequest) (*servicev1.HeadResponse, error) {
	note, _, _, err := s.newest()
	return &servicev1.HeadResponse{Checkpoint: note}, err
}

// Entries sends what the newest checkpoint covers, a bounded message at a time.
func (s *recordServer) Entries(r *servicev1.EntriesRequest, stream servicev1.Record_EntriesServer) error {
	_, size, _, err := s.newest()
	if err != nil {
		return err
	}
	end := r.GetEnd()
	if end == 0 {
		end = size
	}
	if end > size || r.GetFirst() > end {
		return invalid("range", "end", fmt.Sprintf("first to %d", size), "entries %d to %d were asked for; the ledger has %d", r.GetFirst(), end, size)
	}
	for first := r.GetFirst(); first < end; {
		if err := context.Cause(stream.Context()); err != nil {
			return err
		}
		some, err := s.told(first, end)
		if err != nil {
			return err
		}
		if err := stream.Send(&servicev1.EntriesResponse{First: first, Entries: some}); err != nil {
			return err
		}
		first += uint64(len(some))
	}
	return nil
}

// told copies out entries and their openings until a message is full; one always comes.
func (c *core) told(first, end uint64) (out []*recordv1.Told, err error) {
	p := &page[*recordv1.Told]{left: maxPage, bytes: pageBytes}
	err = c.engine.View(func(tx store.ReadTx) error {
		for i := first; i < end; i++ {
			told, err := record.Told(tx, i)
			if err != nil {
				return fmt.Errorf("entry %d: %w", i, err)
			}
			if !p.take(told) {
				break
			}
		}
		return nil
	})
	return p.items, err
}

// Watch sends the newest checkpoint now and whenever there is a newer one. A watcher that reads
// slowly misses what lies between: several become one.
func (s *recordServer) Watch(_ *servicev1.WatchRequest, stream servicev1.Record_WatchServer) error {
	var sent []byte
	note, _, changed, err := s.newest()
	if err != nil {
		return err
	}
	for ; ; note, _, changed = s.head() {
		if !bytes.Equal(note, sent) {
			if err := stream.Send(&servicev1.WatchResponse{Checkpoint: note}); err != nil {
				return err
			}
			sent = note
		}
		select {
		case <-changed:
		case <-stream.Context().Done():
			return context.Cause(stream.Context())
		case <-s.stopping:
			return stopping()
		}
	}
}
