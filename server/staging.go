package server

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc/codes"

	"witnessmark/store"
)

// stagedFor is how long uploaded bytes wait for the action that names them.
const stagedFor = 24 * time.Hour

// staging keeps uploads, by SHA-256, in a folder of its own until an action names them.
// Nothing in it is part of the record.
type staging struct {
	dir      string
	now      func() time.Time
	mu       sync.Mutex
	bytes    int64 // of files that wait
	reserved int64 // of uploads under way
}

// openStaging makes the folder, removes what was left half-uploaded and what expired.
func openStaging(dir string, now func() time.Time) (*staging, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("staging folder: %w", err)
	}
	s := &staging{dir: dir, now: now}
	names, err := os.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("staging folder: %w", err)
	}
	for _, n := range names {
		if strings.HasPrefix(n.Name(), "part-") {
			_ = os.Remove(filepath.Join(dir, n.Name()))
		}
	}
	return s, s.expire()
}

// expire removes uploads older than a day and counts the rest again.
func (s *staging) expire() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	names, err := os.ReadDir(s.dir)
	if err != nil {
		return fmt.Errorf("staging folder: %w", err)
	}
	s.bytes = 0
	for _, n := range names {
		info, err := n.Info()
		if err != nil || !isSHA256(n.Name()) {
			continue
		}
		if s.now().Sub(info.ModTime()) <= stagedFor || os.Remove(filepath.Join(s.dir, n.Name())) != nil {
			s.bytes += info.Size()
		}
	}
	return nil
}

// read is the staged bytes of that hash, checked again; ErrNotFound is wrapped.
func (s *staging) read(sha string) ([]byte, error) {
	if s == nil || !isSHA256(sha) {
		return nil, fmt.Errorf("staged %s: %w", short(sha), store.ErrNotFound)
	}
	data, err := os.ReadFile(filepath.Join(s.dir, sha))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("staged %s: %w", short(sha), store.ErrNotFound)
	}
	if err != nil {
		return nil, fmt.Errorf("staged %s: %w", short(sha), err)
	}
	if sum := sha256.Sum256(data); hex.EncodeToString(sum[:]) != sha {
		s.remove(sha)
		return nil, fmt.Errorf("staged %s: the file is damaged: %w", short(sha), store.ErrNotFound)
	}
	return data, nil
}

// remove forgets a staged upload, after the action that names it was committed.
func (s *staging) remove(sha string) {
	if s == nil || !isSHA256(sha) {
		return
	}
	path := filepath.Join(s.dir, sha)
	s.mu.Lock()
	defer s.mu.Unlock()
	if info, err := os.Stat(path); err == nil && os.Remove(path) == nil {
		s.bytes -= info.Size()
	}
}

// upload is one upload under way.
type upload struct {
	s         *staging
	sha       string
	size, got uint64
	f         *os.File
	sum       hash.Hash
	done      bool
}

// begin reserves room and opens the part file.
func (s *staging) begin(size uint64, sha string) (*upload, error) {
	switch {
	case !isSHA256(sha):
		return nil, invalid("bad-hash", "header.sha256", "64 lower-case hex digits", "upload: sha256 must be 64 lower-case hex digits")
	case size == 0:
		return nil, invalid("bad-size", "header.size", "at least 1 byte", "upload: size must be at least 1 byte")
	case size > maxBlob:
		return nil, invalid("too-large", "header.size", fmt.Sprintf("at most %d bytes", maxBlob),
			"upload: %d bytes are more than the %d that are allowed", size, maxBlob)
	}
	s.mu.Lock()
	full := s.bytes+s.reserved+int64(size) > maxStaged
	if !full {
		s.reserved += int64(size)
	}
	s.mu.Unlock()
	if full {
		return nil, &fault{code: codes.ResourceExhausted, reason: "staging-full", at: "header.size",
			text: "upload: too many bytes wait for their actions; try again later"}
	}
	f, err := os.CreateTemp(s.dir, "part-")
	if err != nil {
		s.release(size)
		return nil, fmt.Errorf("stage: %w", err)
	}
	return &upload{s: s, sha: sha, size: size, f: f, sum: sha256.New()}, nil
}

func (s *staging) release(size uint64) {
	s.mu.Lock()
	s.reserved -= int64(size)
	s.mu.Unlock()
}

// write adds a chunk; more bytes than declared are refused at once.
func (u *upload) write(chunk []byte) error {
	if uint64(len(chunk)) > u.size-u.got {
		return invalid("wrong-size", "chunk", "", "upload: more bytes came than the %d that were declared", u.size)
	}
	if _, err := u.f.Write(chunk); err != nil {
		return fmt.Errorf("stage: %w", err)
	}
	u.sum.Write(chunk)
	u.got += uint64(len(chunk))
	return nil
}

// verify says whether size and hash are what was declared.
func (u *upload) verify() error {
	if u.got != u.size {
		return invalid("wrong-size", "header.size", "", "upload: %d bytes were declared and %d came", u.size, u.got)
	}
	want, err := hex.DecodeString(u.sha)
	if err != nil || !bytes.Equal(u.sum.Sum(nil), want) {
		return invalid("wrong-hash", "header.sha256", "", "upload: the bytes that came do not have the SHA-256 that was declared")
	}
	return nil
}

// finish keeps bytes that were verified, synced to disk.
func (u *upload) finish() error {
	if err := errors.Join(u.f.Sync(), u.f.Close()); err != nil {
		return fmt.Errorf("stage: %w", err)
	}
	target := filepath.Join(u.s.dir, u.sha)
	u.s.mu.Lock()
	defer u.s.mu.Unlock()
	if info, err := os.Stat(target); err == nil {
		u.s.bytes -= info.Size() // the same bytes, staged before: replaced, so that the day begins again
	}
	if err := os.Rename(u.f.Name(), target); err != nil {
		return fmt.Errorf("stage: %w", err)
	}
	u.s.bytes += int64(u.size)
	u.s.reserved -= int64(u.size)
	u.done = true
	return nil
}

// abandon removes what was not finished; it does nothing after finish.
func (u *upload) abandon() {
	if u.done {
		return
	}
	u.done = true
	_ = u.f.Close()
	_ = os.Remove(u.f.Name())
	u.s.release(u.size)
}
