package client

import (
	"context"
	"fmt"
	"os"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// maxFile bounds an image file; record files are about three times their image.
const maxFile = 512 << 20

// Picture is an image as a job holds it: its bytes over the definition's range, and what names it.
type Picture struct {
	Image *recordv1.Image
	Bytes []byte
}

// Rules is a definition and limits, each a revision of the ledger.
type Rules struct {
	Definition, Limits *recordv1.Revision
	Layout             *definition.Layout
	Limit              *limits.Limits
	definitionFile     []byte
	limitsFile         []byte
}

// rules fetches two revisions and compiles them.
func (c *Client) rules(ctx context.Context, def, lim *recordv1.Revision) (*Rules, error) {
	r := &Rules{Definition: def, Limits: lim}
	var err error
	if r.definitionFile, err = c.download(ctx, "definition "+def.GetName(), def.GetSha256()); err != nil {
		return nil, err
	}
	if r.limitsFile, err = c.download(ctx, "limits "+lim.GetName(), lim.GetSha256()); err != nil {
		return nil, err
	}
	return r, r.compile()
}

func (r *Rules) compile() (err error) {
	if r.Layout, err = definition.Load("definition "+r.Definition.GetName(), r.definitionFile); err != nil {
		return err
	}
	if r.Limit, err = limits.Load("limits "+r.Limits.GetName(), r.limitsFile); err != nil {
		return err
	}
	if r.Layout.Name != r.Definition.GetName() || r.Limit.Name != r.Limits.GetName() {
		return distrust("a definition or limits file has another name than the ledger gives it")
	}
	return r.Limit.Check(r.Layout)
}

// layout fetches and compiles a definition.
func (c *Client) layout(ctx context.Context, rev *recordv1.Revision) (*definition.Layout, error) {
	b, err := c.download(ctx, "definition "+rev.GetName(), rev.GetSha256())
	if err != nil {
		return nil, err
	}
	return definition.Load("definition "+rev.GetName(), b)
}

// newestRules are what a job is judged by today.
func (c *Client) newestRules(ctx context.Context, s *record.State, job *recordv1.Job) (*Rules, error) {
	def, lim, err := newestOf(s, job)
	if err != nil {
		return nil, err
	}
	return c.rules(ctx, def, lim)
}

// newestOf names the newest revisions of a job's definition and limits.
func newestOf(s *record.State, job *recordv1.Job) (def, lim *recordv1.Revision, err error) {
	d, ok := s.Newest("definition", job.Definition.GetName())
	l, ok2 := s.Newest("limits", job.Limits.GetName())
	if !ok || !ok2 {
		return nil, nil, refused("job %d names a definition or limits that the ledger does not hold", job.Number)
	}
	return &recordv1.Revision{Name: d.Name, Sha256: d.Sha256}, &recordv1.Revision{Name: l.Name, Sha256: l.Sha256}, nil
}

// ReadFile reads an image file into the layout's range. format overrides detection; empty detects.
func ReadFile(path string, format image.Format, lay *definition.Layout) (*Picture, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if info.Size() > maxFile {
		return nil, usage("", "%s: %d bytes; an image file has at most %d", path, info.Size(), maxFile)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return NewPicture(path, b, format, lay)
}

// NewPicture reads a file's bytes into the layout's range.
func NewPicture(name string, file []byte, format image.Format, lay *definition.Layout) (*Picture, error) {
	im, err := image.Decode(name, file, format, lay.Start)
	if err != nil {
		return nil, err
	}
	if im.Format == image.Raw && uint64(len(file)) != lay.Size {
		return nil, fmt.Errorf("%s: %d bytes; the definition %s says %d", name, len(file), lay.Name, lay.Size)
	}
	flat, present, _, err := im.Flat(name, lay.Start, lay.Size)
	if err != nil {
		return nil, err
	}
	m := &recordv1.Image{Sha256: HashHex(flat), Size: uint32(len(flat)), FileFormat: string(im.Format)}
	for _, p := range present {
		m.Ranges = append(m.Ranges, &calibrationv1.AddressRange{Start: uint32(p[0]), End: uint32(p[1])})
	}
	return &Picture{Image: m, Bytes: flat}, nil
}

// Side is the picture as comparing wants it: the gaps are what its ranges leave out.
func (p *Picture) Side(lay *definition.Layout) compare.Side {
	s := compare.Side{Bytes: p.Bytes}
	var at uint64
	for _, r := range p.Image.GetRanges() {
		from := uint64(r.Start) - lay.Start
		if from > at {
			s.Gaps = append(s.Gaps, definition.Range{Start: at, End: from})
		}
		at = uint64(r.End) - lay.Start
	}
	if at < lay.Size {
		s.Gaps = append(s.Gaps, definition.Range{Start: at, End: lay.Size})
	}
	return s
}

// encode writes the picture as a kind of file, and reads it back: what leaves is what is named.
func (p *Picture) encode(format image.Format, lay *definition.Layout) ([]byte, error) {
	var present [][2]uint64
	for _, r := range p.Image.GetRanges() {
		present = append(present, [2]uint64{uint64(r.Start), uint64(r.End)})
	}
	out, err := image.FromFlat(p.Bytes, lay.Start, present).Encode(format)
	if err != nil {
		return nil, err
	}
	im, err := image.Decode("the file made", out, format, lay.Start)
	if err != nil {
		return nil, err
	}
	flat, _, _, err := im.Flat("the file made", lay.Start, lay.Size)
	if err != nil {
		return nil, err
	}
	if HashHex(flat) != p.Image.Sha256 {
		return nil, fmt.Errorf("an image cannot be kept whole in a %s file", format)
	}
	return out, nil
}

// picture fetches an image of the ledger.
func (c *Client) picture(ctx context.Context, what string, m *recordv1.Image, lay *definition.Layout) (*Picture, error) {
	b, err := c.download(ctx, what, m.GetSha256())
	if err != nil {
		return nil, err
	}
	if uint64(len(b)) != lay.Size {
		return nil, fmt.Errorf("%s has %d bytes, and the definition %s says %d", what, len(b), lay.Name, lay.Size)
	}
	at := lay.Start
	for _, r := range m.GetRanges() {
		if uint64(r.Start) < at || r.End <= r.Start || uint64(r.End) > lay.Start+lay.Size {
			return nil, fmt.Errorf("%s holds ranges that are not those of the definition %s", what, lay.Name)
		}
		at = uint64(r.End)
	}
	return &Picture{Image: m, Bytes: b}, nil
}
