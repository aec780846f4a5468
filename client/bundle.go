package client

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"time"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/ledger"
	"witnessmark/store/record"
)

// bundleNames are a bundle's files, in this order and no other.
var bundleNames = []string{"image.bin", "definition.yaml", "limits.yaml", "report.pb", "entries.pb", "proofs.pb", "checkpoint.txt"}

// maxBundle bounds a bundle; maxBundleFiles bounds each of its files by place.
const maxBundle = 512 << 20

var maxBundleFiles = []uint64{maxBlob, 16 << 20, 16 << 20, 64 << 20, 256 << 20, 1 << 20, 64 << 10}

// bundleTime stands in every bundle, so that the same release makes the same bytes.
var bundleTime = time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)

// bundle proves a release without a network: the image, what judged it, every entry up to the
// collection (so that what is absent is proved too), and the signed checkpoint over them.
func (c *Client) bundle(r *Review, collected uint64) ([]byte, error) {
	c.mu.Lock()
	entries, head := c.entries, c.head
	c.mu.Unlock()
	list, err := proto.MarshalOptions{Deterministic: true}.Marshal(&recordv1.EntryList{Entries: entries})
	if err != nil {
		return nil, err
	}
	indices := []uint64{uint64(r.Submission.Submitted.GetEntry()), uint64(r.Submission.Signed.GetEntry()), collected}
	proofs, err := prove(entries, indices)
	if err != nil {
		return nil, err
	}
	return pack([][]byte{r.candidate.Bytes, r.rules.definitionFile, r.rules.limitsFile, r.report, list, proofs, []byte(head.Checkpoint)})
}

// prove makes the inclusion proofs of entries: a list whose members are proofs.
func prove(entries [][]byte, indices []uint64) ([]byte, error) {
	var t ledger.Tree
	for _, e := range entries {
		t.Append(e)
	}
	out := new(recordv1.EntryList)
	for _, i := range indices {
		hashes, err := t.ProveInclusion(i, uint64(len(entries)))
		if err != nil {
			return nil, err
		}
		b, err := proto.MarshalOptions{Deterministic: true}.Marshal(&recordv1.Proof{Index: i, Entry: entries[i], Inclusion: hashes})
		if err != nil {
			return nil, err
		}
		out.Entries = append(out.Entries, b)
	}
	return proto.MarshalOptions{Deterministic: true}.Marshal(out)
}

func pack(files [][]byte) ([]byte, error) {
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for i, b := range files {
		w, err := z.CreateHeader(&zip.FileHeader{Name: bundleNames[i], Method: zip.Store, Modified: bundleTime})
		if err != nil {
			return nil, err
		}
		if _, err := w.Write(b); err != nil {
			return nil, err
		}
	}
	if err := z.Close(); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// unpack reads a bundle's files. Names are compared and never used; a bundle that is not, byte for
// byte, what pack makes of its files is refused.
func unpack(name string, b []byte) ([][]byte, error) {
	bad := func(format string, args ...any) error {
		return &Error{Kind: Distrust, Text: name + ": " + fmt.Sprintf(format, args...)}
	}
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return nil, bad("not a bundle: %v", err)
	}
	if len(z.File) != len(bundleNames) {
		return nil, bad("a bundle has %d files, and this has %d", len(bundleNames), len(z.File))
	}
	var files [][]byte
	for i, f := range z.File {
		switch {
		case f.Name != bundleNames[i]:
			return nil, bad("file %d is called %q; it must be %s", i+1, f.Name, bundleNames[i])
		case f.Method != zip.Store:
			return nil, bad("%s is packed; a bundle's files are stored as they are", f.Name)
		case f.UncompressedSize64 > maxBundleFiles[i]:
			return nil, bad("%s has %d bytes; allowed are %d", f.Name, f.UncompressedSize64, maxBundleFiles[i])
		}
		content, err := readZipFile(f, maxBundleFiles[i])
		if err != nil {
			return nil, bad("%s: %v", f.Name, err)
		}
		files = append(files, content)
	}
	again, err := pack(files)
	if err != nil {
		return nil, err
	}
	if !bytes.Equal(again, b) {
		return nil, bad("it holds more than its files: it was changed after it was made")
	}
	return files, nil
}

func readZipFile(f *zip.File, limit uint64) ([]byte, error) {
	r, err := f.Open()
	if err != nil {
		return nil, err
	}
	defer r.Close()
	return io.ReadAll(io.LimitReader(r, int64(limit)))
}

// actionOf opens an entry that was judged already, for looking at what it says.
func actionOf(state *record.State, entries [][]byte, index uint32) (*recordv1.Action, error) {
	if uint64(index) >= uint64(len(entries)) {
		return nil, fmt.Errorf("there is no entry %d", index)
	}
	var e recordv1.Entry
	if err := proto.Unmarshal(entries[index], &e); err != nil {
		return nil, err
	}
	signed, err := state.Open(e.GetEnvelope())
	if err != nil {
		return nil, err
	}
	return signed.Action, nil
}
