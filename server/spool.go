package server

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
)

// maxBlob is the most bytes that a blob may have.
const maxBlob = store.MaxBlob

// spool keeps bytes on their way in files without names, so that nothing is left of them however
// the process ends.
type spool struct {
	dir  string
	held *room // bytes, by key
}

// openSpool makes the folder, and empties it of what an end between making a file and taking its name
// left; on a full disk one that is there can be used.
func openSpool(dir string, bytes share) (*spool, error) {
	err := os.MkdirAll(dir, 0o700)
	left, _ := os.ReadDir(dir)
	for _, e := range left {
		err = errors.Join(err, os.RemoveAll(filepath.Join(dir, e.Name())))
	}
	if err != nil {
		return nil, fmt.Errorf("spool: %w", err)
	}
	return &spool{dir, newRoom(bytes)}, nil
}

// file is a new one without a name; it is gone once it is closed.
func (s *spool) file() (*os.File, error) {
	f, err := os.CreateTemp(s.dir, "")
	if err != nil {
		return nil, fmt.Errorf("spool: %w", err)
	}
	if err := os.Remove(f.Name()); err != nil {
		f.Close()
		return nil, fmt.Errorf("spool: %w", err)
	}
	return f, nil
}

// spooled is one blob on its way: size and hash are what its bytes have.
type spooled struct {
	sha  string
	size uint64
	who  string
	s    *spool
	f    *os.File
}

func (b *spooled) read() ([]byte, error) {
	data := make([]byte, b.size)
	if _, err := b.f.ReadAt(data, 0); err != nil {
		return nil, fmt.Errorf("spool: %w", err)
	}
	return data, nil
}

func (b *spooled) close() {
	_ = b.f.Close()
	b.s.held.give(b.who, int64(b.size))
}

func (a *arrival) close() {
	for _, b := range a.spooled {
		b.close()
	}
}

// receive takes the parts of the blob that is wanted next from somebody.
func (s *spool) receive(who string, recv func() (*servicev1.AdmitRequest, error), sha string) (*spooled, error) {
	first, err := part(recv)
	if err != nil {
		return nil, err
	}
	b, err := s.begin(who, first, sha)
	if err != nil {
		return nil, err
	}
	if err := b.fill(recv, first.GetData()); err != nil {
		b.close()
		return nil, err
	}
	return b, nil
}

// part is the next message, which must be a part of a blob.
func part(recv func() (*servicev1.AdmitRequest, error)) (*servicev1.BlobPart, error) {
	m, err := recv()
	switch {
	case errors.Is(err, io.EOF):
		return nil, invalid("wrong-size", "part", "", "admit: the stream ended before all that was wanted had come")
	case err != nil:
		return nil, err
	case m.GetPart() == nil:
		return nil, invalid("no-part", "part", "", "admit: after the action only parts of blobs are allowed")
	}
	return m.GetPart(), nil
}

// begin reserves room and opens the file.
func (s *spool) begin(who string, first *servicev1.BlobPart, sha string) (*spooled, error) {
	size := first.GetSize()
	switch {
	case first.GetSha256() != sha:
		return nil, invalid("not-wanted", "part.sha256", sha, "admit: a part of %.64q came where %s is wanted", first.GetSha256(), sha)
	case size == 0 || size > maxBlob:
		return nil, invalid("bad-size", "part.size", fmt.Sprintf("1 to %d bytes", maxBlob), "admit: blob %s has %d bytes; allowed are 1 to %d", sha, size, maxBlob)
	}
	b := &spooled{sha: sha, size: size, who: who, s: s}
	if !s.held.take(who, int64(size)) {
		return nil, tooMany("part.size", "admit: too many bytes are on their way")
	}
	var err error
	if b.f, err = s.file(); err != nil {
		s.held.give(who, int64(size))
		return nil, err
	}
	return b, nil
}

// fill writes part after part until the blob is whole.
func (b *spooled) fill(recv func() (*servicev1.AdmitRequest, error), data []byte) error {
	sum := sha256.New()
	for left := b.size; ; {
		if uint64(len(data)) > left {
			return invalid("wrong-size", "part.data", "", "admit: blob %s has more bytes than the %d that were declared", b.sha, b.size)
		}
		if _, err := b.f.Write(data); err != nil {
			return fmt.Errorf("spool: %w", err) // a full disk among them
		}
		sum.Write(data)
		if left -= uint64(len(data)); left == 0 {
			break
		}
		next, err := part(recv)
		if err != nil {
			return err
		}
		if next.GetSha256() != "" || len(next.GetData()) == 0 {
			return invalid("not-wanted", "part", "", "admit: blob %s lacks %d bytes, and the next part is not of them", b.sha, left)
		}
		data = next.GetData()
	}
	if hex.EncodeToString(sum.Sum(nil)) != b.sha {
		return invalid("wrong-hash", "part.data", b.sha, "admit: the bytes that came do not have the SHA-256 %s", b.sha)
	}
	return nil
}
