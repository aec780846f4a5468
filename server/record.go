package server

import (
	"bytes"
	"context"
	"fmt"
	"time"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/record"
)

type recordServer struct {
	servicev1.UnimplementedRecordServer
	*core
	spool        *spool
	idle, within time.Duration   // bounds of an action's way in
	stopping     <-chan struct{} // closed when the server begins to stop
}

func (s *recordServer) Head(context.Context, *servicev1.HeadRequest) (*servicev1.HeadResponse, error) {
	note, _, _ := s.head()
	return &servicev1.HeadResponse{Checkpoint: note}, nil
}

// Entries sends what the newest checkpoint covers, a bounded message at a time.
func (s *recordServer) Entries(r *servicev1.EntriesRequest, stream servicev1.Record_EntriesServer) error {
	_, size, _ := s.head()
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
	for {
		note, _, changed := s.head()
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

type blobsServer struct {
	servicev1.UnimplementedBlobsServer
	*core
}

// Download sends a blob that was copied out of the store.
func (s *blobsServer) Download(r *servicev1.DownloadRequest, stream servicev1.Blobs_DownloadServer) error {
	data, err := s.blob("sha256", r.GetSha256())
	if err != nil {
		return err
	}
	m := &servicev1.DownloadResponse{Size: uint64(len(data))} // in the first message only
	for {
		n := min(len(data), chunkBytes)
		if m.Chunk, data = data[:n], data[n:]; n == 0 {
			return nil
		}
		if err := context.Cause(stream.Context()); err != nil {
			return err
		}
		if err := stream.Send(m); err != nil {
			return err
		}
		m = &servicev1.DownloadResponse{}
	}
}

// blob copies a blob out; at names what asked for it.
func (c *core) blob(at, sha string) (data []byte, err error) {
	if _, err := store.ParseHash(sha); err != nil {
		return nil, invalid("bad-value", at, "64 lower-case hex digits", "%s must be 64 lower-case hex digits", at)
	}
	err = c.engine.View(func(tx store.ReadTx) error { data, err = store.GetBlob(tx, sha); return err })
	if notFound(err) {
		return nil, missing(at, "%s: there are no bytes with SHA-256 %s", at, sha)
	}
	return data, err
}

type adminServer struct {
	servicev1.UnimplementedAdminServer
	*core
	spool *spool
}

// Backup copies the store to a file first, so that nobody waits for the one who fetches it. The
// server's key is not part of it.
func (s *adminServer) Backup(_ *servicev1.BackupRequest, stream servicev1.Admin_BackupServer) error {
	f, err := s.spool.file()
	if err != nil {
		return err
	}
	defer f.Close()
	if err := s.engine.Snapshot(f); err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	buf := make([]byte, chunkBytes)
	for at := int64(0); ; {
		n, err := f.ReadAt(buf, at)
		if n == 0 {
			return endOf(err)
		}
		if err := context.Cause(stream.Context()); err != nil {
			return err
		}
		if err := stream.Send(&servicev1.BackupResponse{Chunk: buf[:n]}); err != nil {
			return err
		}
		at += int64(n)
	}
}
