package definition

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/image"
	"witnessmark/tables/yamldoc"
)

// MaxImage is the largest image in bytes that a definition may describe; MaxCells is the
// most cells, breakpoints included, that it may lay out, each 16 bytes once it is decoded. Both are far above any
// controller, and keep a slip of the pen from asking for all memory.
const (
	MaxImage = 64 << 20
	MaxCells = 8 << 20
)

// compiler holds what the parts of a compilation share.
type compiler struct {
	at      *yamldoc.Locator
	d       *calibrationv1.Definition
	lay     *Layout
	shared  map[string]*Axis
	axisAt  map[string]string // id of an axis -> where it was written
	froms   []axisFrom
	lookups []lookup
	used    []usedCells // in the order of the file
	kept    []keptOut
	cells   uint64
	telling bool // places of axes and tables are at hand

	faults []error
	lost   map[string]bool // what is at fault, as in "table ignition.base"
}

// errLost is met where something refers to what is at fault itself: that was told there.
var errLost = errors.New("it refers to what is at fault")

// wrong keeps a fault; false where there is none.
func (c *compiler) wrong(err error) bool {
	if err != nil && !errors.Is(err, errLost) && len(c.faults) < yamldoc.MaxFaults {
		c.faults = append(c.faults, err)
	}
	return err != nil
}

// usedCells remembers who lies where, for the checks of overlap.
type usedCells struct {
	path, what string
	cells      *Cells
}

// entry is where an axis or a table is written.
func (c *compiler) entry(list string, i int) string {
	if !c.telling {
		return ""
	}
	return fmt.Sprintf("%s[%d]", list, i)
}

// call is an axis or a table in a message.
func (c *compiler) call(what, id string) string {
	if !c.telling {
		return ""
	}
	return fmt.Sprintf("%s %q", what, id)
}

func (c *compiler) head() {
	c.wrong(c.at.Name("name", c.d.GetName()))
	c.wrong(c.oneOf("byte_order", c.d.GetByteOrder(), "big", "little"))
	c.wrong(c.wholeRange())
}

// oneOf asks that a word is among those given.
func (c *compiler) oneOf(path, word string, allowed ...string) error {
	if slices.Contains(allowed, word) {
		return nil
	}
	list := strings.Join(allowed, ", ")
	if word == "" {
		return c.at.Errorf(path, list, "the field is missing")
	}
	return c.at.Errorf(path, list, "%.60q is not known", word)
}

// without refuses fields that mean nothing where they stand; why says where they do.
func (c *compiler) without(path, why string, m proto.Message, fields ...string) error {
	r := m.ProtoReflect()
	for _, name := range fields {
		if r.Has(r.Descriptor().Fields().ByName(protoreflect.Name(name))) {
			return c.at.Errorf(path+"."+name, why, "%s has no meaning here", name)
		}
	}
	return nil
}

// span turns addresses into offsets, and refuses what is empty or not in the image.
func (c *compiler) span(path string, start, end uint32) (image.Range, error) {
	if start >= end {
		return image.Range{}, c.at.Errorf(path+".end", "an end, itself not included, above the start", "start 0x%x, end 0x%x", start, end)
	}
	return c.inside(path, uint64(start), uint64(end))
}

func (c *compiler) inside(path string, start, end uint64) (image.Range, error) {
	r, inside := c.lay.Space.Within(image.Range{Start: start, End: end})
	if !inside {
		return r, c.at.Errorf(path, fmt.Sprintf("addresses %v, the end not included", c.lay.Space), "0x%x to 0x%x reaches outside the image", start, end)
	}
	return r, nil
}

// named says in an error which axis or table it is about, since an index into a long list does not.
func named(err error, what, id string) error {
	if err == nil {
		return nil
	}
	var e *yamldoc.Error
	if errors.As(err, &e) {
		e.Problem = fmt.Sprintf("%s %s: %s", what, id, e.Problem)
	}
	return err
}

func (c *compiler) segments() {
	var all []written
	for i, s := range c.d.GetImage().GetSegments() {
		path := fmt.Sprintf("image.segments[%d]", i)
		r, err := c.span(path, s.GetStart(), s.GetEnd())
		if c.wrong(err) || c.wrong(c.oneOf(path+".content", s.GetContent(), "calibration", "code", "data")) {
			continue
		}
		all = append(all, written{r, path})
		c.lay.Segments = append(c.lay.Segments, Segment{r, s.GetContent()})
	}
	slices.SortFunc(c.lay.Segments, func(a, b Segment) int { return cmp.Compare(a.Start, b.Start) })
	c.apart(all)
}

func (c *compiler) volatile() {
	if n := len(c.d.GetVolatile()); n > maxVolatile {
		c.wrong(c.at.Errorf("volatile", fmt.Sprintf("at most %d ranges", maxVolatile), "%d ranges", n))
		return
	}
	var all []written
	for i, v := range c.d.GetVolatile() {
		path := fmt.Sprintf("volatile[%d]", i)
		r, err := c.span(path, v.GetStart(), v.GetEnd())
		if c.wrong(err) {
			continue
		}
		all = append(all, written{r, path})
		c.lay.Volatile = append(c.lay.Volatile, r)
	}
	for _, v := range all {
		c.kept = append(c.kept, keptOut{v, "the volatile range", true})
	}
	slices.SortFunc(c.lay.Volatile, func(a, b image.Range) int { return cmp.Compare(a.Start, b.Start) })
	c.apart(all)
}

// written is a range and its place in the file.
type written struct {
	image.Range
	path string
}

// apart refuses ranges that share bytes; the later of two in the image is at fault.
func (c *compiler) apart(all []written) {
	slices.SortStableFunc(all, func(a, b written) int { return cmp.Compare(a.Start, b.Start) })
	for i := 1; i < len(all); i++ {
		if a, b := all[i-1], all[i]; b.Start < a.End {
			c.wrong(c.at.Errorf(b.path, "ranges that do not overlap", "overlaps %s", a.path))
		}
	}
}

// finite asks that numbers made without YAML are numbers too.
func (c *compiler) finite(path string, numbers ...float64) error {
	for _, v := range numbers {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return c.at.Errorf(path, "finite numbers", "%v is not finite", v)
		}
	}
	return nil
}
