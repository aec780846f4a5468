package server

import (
	"errors"
	"fmt"
	"io"
	"os"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

type adminServer struct {
	servicev1.UnimplementedAdminServer
	*service
	dir string // where the copy lies while it is sent
}

// Backup copies the store to a file first, so that nobody waits for the one who fetches it.
// The server's key is not part of it.
func (s *adminServer) Backup(_ *servicev1.BackupRequest, stream servicev1.Admin_BackupServer) (err error) {
	f, err := os.CreateTemp(s.dir, "part-backup-")
	if err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	defer func() { _ = errors.Join(f.Close(), os.Remove(f.Name())) }()
	if err := s.core.engine.Snapshot(f); err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	buf := make([]byte, chunkSize)
	for {
		n, err := f.Read(buf)
		if n > 0 {
			if err := stream.Context().Err(); err != nil {
				return err
			}
			if err := stream.Send(&servicev1.BackupResponse{Chunk: buf[:n]}); err != nil {
				return err
			}
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("backup: %w", err)
		}
	}
}
