package imported

import (
	"cmp"
	"fmt"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/a2l"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// near is how many bytes that nothing describes part two regions.
const near = 0x10000

// contents are what memory segments hold; those of other words are no part of an image.
var contents = map[string]string{"CODE": "code", "DATA": "calibration", "OFFLINE_DATA": "calibration", "CALIBRATION_VARIABLES": "calibration", "RESERVED": "data"}

// image says what an image covers: what an image file holds, and the segments of memory that keeps what is written; where none
// are described, what objects lie in.
func (im *importer) image() error {
	if len(im.used) == 0 {
		return fmt.Errorf("%s:%d: module %s: no object that could be imported lies in an image", im.m.File, im.m.Line, im.m.Name)
	}
	layout := &calibrationv1.ImageLayout{}
	regions := im.segments(layout)
	if len(regions) == 0 {
		regions = joined(append(slices.Clone(im.used), im.o.Held...), near)
	}
	for _, r := range regions {
		layout.Regions = append(layout.Regions, &calibrationv1.Region{Start: uint32(r.Start), Size: uint32(r.End - r.Start)})
	}
	if len(regions) == 1 {
		layout.Start, layout.Size, layout.Regions = layout.Regions[0].Start, layout.Regions[0].Size, nil
	}
	im.out.Definition.Image = layout
	im.software(regions)
	return nil
}

// segments are the described ones where objects lie in them, and the regions that they make up with what an image file holds.
func (im *importer) segments(layout *calibrationv1.ImageLayout) []image.Range {
	all := slices.Clone(im.m.Memory)
	slices.SortStableFunc(all, func(a, b a2l.Memory) int { return cmp.Compare(a.Address, b.Address) })
	var ranges []image.Range
	total := uint64(0)
	for _, s := range all {
		r := image.Range{Start: s.Address, End: s.Address + s.Size}
		lost := s.Kind == "RAM" || s.Kind == "REGISTER" || s.Kind == "NOT_IN_ECU"
		switch {
		case contents[s.Holds] == "" || lost || s.Size == 0:
			continue
		case r.End > 1<<32-1:
			im.say(s.Place, s.Name, true, "the segment reaches beyond the address 0xffffffff, and is left away")
			continue
		case len(ranges) > 0 && ranges[len(ranges)-1].End > r.Start:
			im.say(s.Place, s.Name, true, "the segment overlaps the one before, and is left away")
			continue
		case total+s.Size > definition.MaxImage:
			im.say(s.Place, s.Name, true, "the segment is left away, since images are at most %d bytes", definition.MaxImage)
			continue
		}
		total += s.Size
		ranges = append(ranges, r)
		layout.Segments = append(layout.Segments, &calibrationv1.Segment{Start: uint32(r.Start), End: uint32(r.End), Content: contents[s.Holds]})
	}
	if len(image.Common(ranges, image.Join(slices.Clone(im.used)))) == 0 {
		layout.Segments = nil
		return nil
	}
	return joined(append(ranges, im.o.Held...), 0)
}

// joined are ranges in order, those apart by no more than gap as one.
func joined(ranges []image.Range, gap uint64) (out []image.Range) {
	slices.SortFunc(ranges, func(a, b image.Range) int { return cmp.Compare(a.Start, b.Start) })
	for _, r := range ranges {
		if n := len(out); n > 0 && r.Start <= out[n-1].End+gap {
			out[n-1].End = max(out[n-1].End, r.End)
			continue
		}
		out = append(out, r)
	}
	return out
}

// software is how the image says which software it is of.
func (im *importer) software(regions []image.Range) {
	text := im.m.Software
	for _, at := range im.m.SoftwareAt {
		r := image.Range{Start: at, End: at + uint64(len(text))}
		inside := slices.ContainsFunc(regions, func(x image.Range) bool { return r.Start >= x.Start && r.End <= x.End })
		if text == "" || oneLine(text) != text || !inside {
			im.say(im.m.Place, "ADDR_EPK", true, "the software's name %.60q at 0x%x is not asked for: it is no plain text, or lies outside the image", text, at)
			continue
		}
		id := "software"
		if n := len(im.out.Definition.Identity); n > 0 {
			id = fmt.Sprintf("software_%d", n+1)
		}
		im.out.Definition.Identity = append(im.out.Definition.Identity, &calibrationv1.IdentityField{Id: id, Address: uint32(at), Length: uint32(len(text)), Encoding: "ascii", Expect: &text})
	}
}
