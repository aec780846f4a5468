package server

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
)

func hashOf(b []byte) string {
	s := sha256.Sum256(b)
	return hex.EncodeToString(s[:])
}

func TestUploadAbuse(t *testing.T) {
	w := newWorkshop(t)
	data := bytes.Repeat([]byte("bytes "), 100_000) // several chunks
	sha := hashOf(data)
	n := uint64(len(data))
	for name, c := range map[string]struct {
		size   uint64
		sha    string
		data   []byte
		reason string
	}{
		"more than declared":  {n - 1, sha, data, "wrong-size"},
		"less than declared":  {n + 1, sha, data, "wrong-size"},
		"other bytes":         {n, hashOf([]byte("other")), data, "wrong-hash"},
		"nothing":             {0, hashOf(nil), nil, "bad-size"},
		"too large":           {maxBlob + 1, sha, nil, "too-large"},
		"more than a uint32":  {1 << 63, sha, nil, "too-large"},
		"no hash":             {n, "", data, "bad-hash"},
		"hash in upper case":  {n, strings.ToUpper(sha), data, "bad-hash"},
		"hash that is a path": {n, "../" + sha[3:], data, "bad-hash"},
	} {
		_, err := w.tryUpload("lead", c.size, c.sha, c.data)
		if err == nil {
			t.Errorf("%s: accepted", name)
			continue
		}
		wantFault(t, err, codes.InvalidArgument, c.reason)
	}
	if left := stagedNames(t, w); len(left) != 0 {
		t.Errorf("refused uploads left %v", left)
	}
	if s := w.srv.core.staged; s.bytes != 0 || s.reserved != 0 {
		t.Errorf("%d bytes wait and %d are reserved", s.bytes, s.reserved)
	}
	w.upload("lead", data)
	w.upload("lead", data) // again: the same bytes, the same place
	if left := stagedNames(t, w); len(left) != 1 || left[0] != sha {
		t.Errorf("staged: %v, want %s alone", left, sha)
	}
	if s := w.srv.core.staged; s.bytes != int64(n) || s.reserved != 0 {
		t.Errorf("%d bytes wait and %d are reserved, want %d and 0", s.bytes, s.reserved, n)
	}
	if info, _ := os.Stat(filepath.Join(w.dir, stagedFolder, sha)); info.Mode().Perm() != 0o600 {
		t.Errorf("staged with mode %v", info.Mode())
	}
}

func stagedNames(t *testing.T, w *workshop) (names []string) {
	t.Helper()
	list, err := os.ReadDir(filepath.Join(w.dir, stagedFolder))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range list {
		names = append(names, e.Name())
	}
	return names
}

func TestUploadOrder(t *testing.T) {
	w := newWorkshop(t)
	blobs := servicev1.NewBlobsClient(w.as("lead"))
	header := &servicev1.UploadRequest{Part: &servicev1.UploadRequest_Header{Header: &servicev1.UploadHeader{Size: 1, Sha256: hashOf([]byte("x"))}}}
	chunk := &servicev1.UploadRequest{Part: &servicev1.UploadRequest_Chunk{Chunk: []byte("x")}}
	empty := &servicev1.UploadRequest{Part: &servicev1.UploadRequest_Chunk{}}
	for name, c := range map[string]struct {
		send   []*servicev1.UploadRequest
		reason string
	}{
		"nothing at all": {nil, "no-header"},
		"chunk first":    {[]*servicev1.UploadRequest{chunk}, "no-header"},
		"two headers":    {[]*servicev1.UploadRequest{header, header}, "second-header"},
		"empty chunk":    {[]*servicev1.UploadRequest{header, empty}, "empty-chunk"},
		"header alone":   {[]*servicev1.UploadRequest{header}, "wrong-size"},
	} {
		t.Run(name, func(t *testing.T) {
			s, err := blobs.Upload(within(t))
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range c.send {
				_ = s.Send(m)
			}
			_, err = s.CloseAndRecv()
			wantFault(t, err, codes.InvalidArgument, c.reason)
		})
	}
}

// TestIdleUploadEnds: an upload that sends nothing gives its reserved room back.
func TestIdleUploadEnds(t *testing.T) {
	w := newWorkshop(t)
	w.tune = func(o *Options) { o.UploadIdle = 50 * time.Millisecond }
	w.restart()
	s, err := servicev1.NewBlobsClient(w.as("lead")).Upload(within(t))
	if err != nil {
		t.Fatal(err)
	}
	_ = s.Send(&servicev1.UploadRequest{Part: &servicev1.UploadRequest_Header{Header: &servicev1.UploadHeader{Size: 1000, Sha256: hashOf(nil)}}})
	err = s.RecvMsg(&servicev1.UploadResponse{}) // nothing more is sent
	wantFault(t, err, codes.DeadlineExceeded, "idle")
	w.stop()
	if left := stagedNames(t, w); len(left) != 0 {
		t.Errorf("it left %v", left)
	}
}

// TestUploadsExpire: staged bytes are gone after a day, and what was half uploaded when the
// server last ended is gone at its start. Nothing that was staged can be downloaded.
func TestUploadsExpire(t *testing.T) {
	w := newWorkshop(t)
	sha := w.upload("lead", []byte("bytes that nobody names"))
	s, err := servicev1.NewBlobsClient(w.as("lead")).Download(within(t), &servicev1.DownloadRequest{Sha256: sha})
	if err != nil {
		t.Fatal(err)
	}
	_, err = s.Recv()
	wantFault(t, err, codes.NotFound, "not-found")
	if err := os.WriteFile(filepath.Join(w.dir, stagedFolder, "part-1"), []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}
	w.restart()
	if got := stagedNames(t, w); len(got) != 1 || got[0] != sha {
		t.Fatalf("after a restart: %v", got)
	}
	w.srv.core.staged.now = func() time.Time { return time.Now().Add(stagedFor + time.Minute) }
	if err := w.srv.core.staged.expire(); err != nil {
		t.Fatal(err)
	}
	if got := stagedNames(t, w); len(got) != 0 {
		t.Errorf("after a day: %v", got)
	}
}

// TestDamagedBlobIsMended: bytes that are damaged in the store are not served, and are whole
// again once an action brought them again.
func TestDamagedBlobIsMended(t *testing.T) {
	b := newBench(t)
	original := demoFile(t, "original.bin")
	b.must("technician", b.openJob("AB 12 CD", ""))
	b.must("technician", b.openJob("EF 34 GH", ""))
	b.must("technician", readAction(b.read(1, original)))
	err := b.srv.core.engine.Update(func(tx store.WriteTx) error { return tx.PutBlob(hashOf(original), []byte("damaged")) })
	if err != nil {
		t.Fatal(err)
	}
	s, err := servicev1.NewBlobsClient(b.as("lead")).Download(within(t), &servicev1.DownloadRequest{Sha256: hashOf(original)})
	if err != nil {
		t.Fatal(err)
	}
	_, err = s.Recv()
	wantFault(t, err, codes.Internal, "internal")
	b.must("technician", readAction(b.read(2, original)))
	if got := b.download(hashOf(original)); !bytes.Equal(got, original) {
		t.Error("the image is not whole again")
	}
}
