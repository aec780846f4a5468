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
	segments, regions := im.segments()
	if len(regions) == 0 {
		regions = regionsAround(im.used, im.o.Held)
	}
	im.out.Definition.Image = imageLayout(regions)
	im.out.Definition.Image.Segments = segments
	im.software(regions)
	return nil
}

// imageLayout is one range, or several regions.
func imageLayout(regions []image.Range) *calibrationv1.ImageLayout {
	layout := &calibrationv1.ImageLayout{}
	for _, r := range regions {
		layout.Regions = append(layout.Regions, &calibrationv1.Region{Start: uint32(r.Start), Size: uint32(min(r.End, 1<<32) - r.Start)})
	}
	if len(layout.Regions) == 1 {
		layout.Start, layout.Size, layout.Regions = layout.Regions[0].Start, layout.Regions[0].Size, nil
	}
	return layout
}

// segments are the described ones where objects lie in them, and the regions that they make up with what an image file holds.
func (im *importer) segments() (segments []*calibrationv1.Segment, regions []image.Range) {
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
		segments = append(segments, &calibrationv1.Segment{Start: uint32(r.Start), End: uint32(r.End), Content: contents[s.Holds]})
	}
	if len(image.Common(ranges, image.Join(im.used))) == 0 {
		return nil, nil
	}
	return segments, image.Join(append(ranges, im.o.Held...))
}

// regionsAround are around what objects lie in and a file holds.
func regionsAround(used, held []image.Range) (out []image.Range) {
	for _, r := range image.Join(slices.Concat(used, held)) {
		if n := len(out); n > 0 && r.Start <= out[n-1].End+near {
			out[n-1].End = r.End
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
