package client

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/ledger"
	"witnessmark/store/record"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// proofFiles are a proof's files, in this order and no other, and how large each may be. Those that may be left out are of a
// corridor's release alone: where the corridor starts, and its definition where the release was collected by a newer one.
var proofFiles = []struct {
	name    string
	most    uint64
	leftOut bool
}{
	{"image.bin", definition.MaxImage, false}, {"start.bin", definition.MaxImage, true},
	{"definition.yaml", MaxDocument, false}, {"corridor.yaml", MaxDocument, true}, {"limits.yaml", MaxDocument, false}, {"report.pb", 64 << 20, false},
	{"openings.pb", 1 << 20, false}, {"entries.pb", 64 << 20, false}, {"checkpoint.txt", 64 << 10, false},
}

// Places in proofFiles.
const (
	proofImage = iota
	proofStart
	proofDefinition
	proofCorridor
	proofLimits
	proofReport
	proofOpenings
	proofEntries
	proofCheckpoint
)

// maxProof bounds a proof.
const maxProof = 256 << 20

// proofTime stands in every proof, so that the same release makes the same bytes.
var proofTime = time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)

// proof says without a network that a release was signed and collected: the image, what judged it,
// the car's texts, and the entries that say yes, each with its place under the signed checkpoint. asked is what the corridor
// says by whose yes alone it was collected; nil for a sign-off.
func (c *Client) proof(ctx context.Context, r *Review, asked *recordv1.OpenCorridor, collected uint64) ([]byte, error) {
	head, err := c.own.head()
	if err != nil {
		return nil, err
	}
	files := make([][]byte, len(proofFiles))
	j := r.Judgement
	files[proofImage], files[proofReport] = r.made.Candidate.Bytes, r.made.Reports[image.Hash(j.GetReportSha256())]
	if files[proofDefinition], err = c.download(ctx, "definition "+j.GetDefinition().GetName(), j.GetDefinition().GetSha256()); err != nil {
		return nil, err
	}
	if files[proofLimits], err = c.download(ctx, "limits "+j.GetLimits().GetName(), j.GetLimits().GetSha256()); err != nil {
		return nil, err
	}
	if asked != nil {
		if err := c.corridorFiles(ctx, files, asked, j); err != nil {
			return nil, err
		}
	}
	openings, entries, err := c.proven(r, asked, head.Size, collected)
	if err != nil {
		return nil, err
	}
	written := proto.MarshalOptions{Deterministic: true}
	if files[proofOpenings], err = written.Marshal(openings); err != nil {
		return nil, err
	}
	if files[proofEntries], err = written.Marshal(entries); err != nil {
		return nil, err
	}
	files[proofCheckpoint] = []byte(head.Checkpoint)
	return pack(files)
}

// corridorFiles are those that a corridor's release needs beside what it was collected by.
func (c *Client) corridorFiles(ctx context.Context, files [][]byte, asked *recordv1.OpenCorridor, j *recordv1.Judgement) (err error) {
	if files[proofStart], err = c.download(ctx, "the start of the corridor", asked.GetFromSha256()); err != nil {
		return err
	}
	if d := asked.GetDefinition(); d.GetSha256() != j.GetDefinition().GetSha256() {
		files[proofCorridor], err = c.download(ctx, "definition "+d.GetName(), d.GetSha256())
	}
	return err
}

// proven are the car's texts, and the entries of a proof with their places in a tree of a size.
func (c *Client) proven(r *Review, asked *recordv1.OpenCorridor, size, collected uint64) (*recordv1.OpeningList, *recordv1.ProvenList, error) {
	openings, entries := &recordv1.OpeningList{}, &recordv1.ProvenList{}
	err := c.own.view(func(tx store.ReadTx) error {
		s := record.Read(tx)
		job, _ := s.Job(r.Job.GetNumber())
		for _, t := range []*recordv1.Text{job.GetPlate(), job.GetFrame()} {
			if o := s.Opening(t.GetCommitment()); o != nil {
				openings.Openings = append(openings.Openings, o)
			}
		}
		for _, i := range saysYes(s, job, r.Judgement, asked, collected) {
			p, err := prove(tx, i, size)
			if err != nil {
				return err
			}
			entries.Entries = append(entries.Entries, p)
		}
		return s.Err()
	})
	return openings, entries, err
}

// saysYes are the entries that a proof holds, in order: the genesis, those about people, the job's up
// to its collection, the definition and limits that it was judged by, and the definition of its corridor.
func saysYes(s *record.State, job *recordv1.Job, j *recordv1.Judgement, asked *recordv1.OpenCorridor, collected uint64) []uint64 {
	out := append(s.AboutPeople(), collected)
	add := func(kind string, rev *recordv1.Revision) {
		f, _ := s.ByHash(kind, rev.GetSha256())
		out = append(out, uint64(f.GetAdded().GetEntry()))
	}
	add(record.Definitions, j.GetDefinition())
	add(record.Limits, j.GetLimits())
	if asked != nil {
		add(record.Definitions, asked.GetDefinition())
	}
	for _, e := range s.CarHistory(job.GetCar()).GetEvents() {
		if i := uint64(e.GetEvent().GetEntry()); e.GetJob() == job.GetNumber() && i < collected {
			out = append(out, i)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func prove(tx store.ReadTx, index, size uint64) (*recordv1.Proven, error) {
	entry, err := tx.Entry(index)
	if err != nil {
		return nil, err
	}
	inclusion, err := ledger.ProveInclusion(tx, index, size)
	return &recordv1.Proven{Index: index, Entry: entry, Inclusion: inclusion}, err
}

func pack(files [][]byte) ([]byte, error) {
	var out bytes.Buffer
	err := packInto(&out, files)
	return out.Bytes(), err
}

func packInto(out io.Writer, files [][]byte) error {
	z := zip.NewWriter(out)
	for i, b := range files {
		if b == nil && proofFiles[i].leftOut {
			continue
		}
		w, err := z.CreateHeader(&zip.FileHeader{Name: proofFiles[i].name, Method: zip.Store, Modified: proofTime})
		if err != nil {
			return err
		}
		if _, err := w.Write(b); err != nil {
			return err
		}
	}
	return z.Close()
}

// unlike is bytes that are held against others as those are written, so that they need not be there twice.
type unlike struct{ rest []byte }

var errUnlike = errors.New("other bytes were written")

func (u *unlike) Write(b []byte) (int, error) {
	if !bytes.HasPrefix(u.rest, b) {
		return 0, errUnlike
	}
	u.rest = u.rest[len(b):]
	return len(b), nil
}

// unpack finds a proof's files in its bytes. Names are compared and never used; a proof that is not, byte for
// byte, what pack makes of its files is refused, and by that one whose sums are wrong.
func unpack(name string, b []byte) ([][]byte, error) {
	bad := func(format string, args ...any) error {
		return &Error{Kind: Distrust, Text: name + ": " + fmt.Sprintf(format, args...)}
	}
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return nil, bad("not a proof: %v", err)
	}
	files, next := make([][]byte, len(proofFiles)), 0
	for i, f := range z.File {
		for next < len(proofFiles) && proofFiles[next].leftOut && f.Name != proofFiles[next].name {
			next++
		}
		if next == len(proofFiles) {
			return nil, bad("it has %d files, %q after the last one that a proof has", len(z.File), f.Name)
		}
		want := proofFiles[next]
		switch {
		case f.Name != want.name:
			return nil, bad("file %d is called %q; it must be %s", i+1, f.Name, want.name)
		case f.Method != zip.Store:
			return nil, bad("%s is packed; a proof's files are stored as they are", f.Name)
		case f.UncompressedSize64 > want.most:
			return nil, bad("%s has %d bytes; allowed are %d", f.Name, f.UncompressedSize64, want.most)
		}
		at, err := f.DataOffset()
		if err != nil || at < 0 || uint64(at) > uint64(len(b)) || f.UncompressedSize64 > uint64(len(b))-uint64(at) {
			return nil, bad("%s does not lie in it whole", f.Name)
		}
		files[next] = b[at : uint64(at)+f.UncompressedSize64]
		next++
	}
	for ; next < len(proofFiles); next++ {
		if !proofFiles[next].leftOut {
			return nil, bad("it has %d files, and %s is not among them", len(z.File), proofFiles[next].name)
		}
	}
	again := &unlike{b}
	if err := packInto(again, files); err != nil || len(again.rest) > 0 {
		return nil, bad("it holds other than its files: it was changed after it was made")
	}
	return files, nil
}
