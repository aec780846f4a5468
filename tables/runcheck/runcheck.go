// Package runcheck holds a run on the rolling road against the map that the controller had: what the map commanded beside
// what was logged, and what of that somebody should look at. It is pure.
package runcheck

import (
	"cmp"
	"fmt"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
	"witnessmark/tables/run"
	"witnessmark/tables/severity"
	"witnessmark/tables/signal"
	"witnessmark/tables/surface"
)

// Input is everything that a check depends on.
type Input struct {
	Run       *run.Run
	SHA256    string       // hex, of the run's file
	Image     *image.Image // what the controller had
	Layout    *definition.Layout
	Limits    *limits.Limits // nil for none
	Candidate *image.Image   // whose boost targets are followed beyond the axes; nil for none
}

// Result is a check, and in words where the candidate's target leads, which are findings too.
type Result struct {
	*calibrationv1.RunCheck
	Ahead []string
}

// check is a run while it is held against a map.
type check struct {
	Input
	lay    *definition.Layout // the definition's, but for what the run recorded itself
	set    *signal.Set
	share  []float32 // s, what each sample stands for
	loaded func(i int) bool
	sides  []*side
	out    *Result
}

// Check holds a run against an image. A table or signal whose channels the run lacks has a side without samples. The
// error says that image and definition, or limits and definition, do not fit.
func Check(in Input) (*Result, error) {
	for _, im := range []*image.Image{in.Image, in.Candidate} {
		if im != nil && (!slices.Equal(im.Space, in.Layout.Space) || uint64(len(im.Bytes)) != in.Layout.Size) {
			return nil, fmt.Errorf("the image has %d bytes, of %v; definition %s is of %d, %v", len(im.Bytes), im.Space, in.Layout.Name, in.Layout.Size, in.Layout.Space)
		}
	}
	c := &check{Input: in, out: &Result{RunCheck: &calibrationv1.RunCheck{
		Run:        &calibrationv1.RunRef{Sha256: in.SHA256},
		Image:      &calibrationv1.ImageRef{Sha256: string(in.Image.SHA256()), Size: uint32(len(in.Image.Bytes))},
		Definition: &calibrationv1.DocumentRef{Name: in.Layout.Name, Sha256: in.Layout.SHA256},
	}}}
	if in.Limits != nil {
		if err := in.Limits.Check(in.Layout); err != nil {
			return nil, err
		}
		c.out.Limits = &calibrationv1.DocumentRef{Name: in.Limits.Name, Sha256: in.Limits.SHA256}
	}
	var err error
	if c.lay, err = recordedOver(in.Layout, in.Run); err != nil {
		return nil, err
	}
	c.set = c.open(in.Image)
	c.weigh()
	c.load()
	c.eachSide()
	c.knock()
	if !slices.ContainsFunc(c.sides, func(s *side) bool { return s.channel == lambda }) {
		c.leanByItself()
	}
	c.offAxes()
	if in.Candidate != nil {
		c.ahead()
	}
	return c.finish(), nil
}

func (c *check) open(im *image.Image) *signal.Set {
	return signal.Open(c.lay, func(id string) *surface.Decoded {
		if t := c.lay.ByID[id]; c.lay.Holds(im, t) {
			return surface.Decode(t, im.Bytes)
		}
		return nil
	})
}

// weigh gives each sample half of the time to both of its neighbours.
func (c *check) weigh() {
	at := c.Run.Time
	c.share = make([]float32, len(at))
	for i := range at {
		c.share[i] = float32((at[min(i+1, len(at)-1)] - at[max(i-1, 0)]) / 2)
	}
}

func (c *check) left(format string, args ...any) {
	c.out.LeftOut = append(c.out.LeftOut, fmt.Sprintf(format, args...))
}

// finish puts the worst finding first, and earlier ones before later ones.
func (c *check) finish() *Result {
	worst := severity.Clear
	for _, f := range c.out.Findings {
		if l := severity.Of(f.Severity); severity.Worse(l, worst) {
			worst = l
		}
	}
	c.out.Verdict = string(worst)
	slices.SortStableFunc(c.out.Findings, func(a, b *calibrationv1.RunFinding) int {
		return cmp.Or(severity.Of(b.Severity).Rank()-severity.Of(a.Severity).Rank(), cmp.Compare(a.Time, b.Time))
	})
	return c.out
}
