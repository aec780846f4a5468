package definition

import (
	"fmt"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/image"
)

// maxRegions is the most regions of an image.
const maxRegions = 256

// wholeRange is the image's own range, or its regions.
func (c *compiler) wholeRange() error {
	im := c.d.GetImage()
	switch {
	case im == nil:
		return c.at.Errorf("image", "image: {start: …, size: …}", "the image's range is missing")
	case len(im.GetRegions()) > 0:
		return c.regions(im)
	}
	r, err := c.region("image.size", im.GetStart(), im.GetSize())
	if err == nil {
		c.lay.Space, c.lay.Size = image.Space{r}, r.End-r.Start
	}
	return err
}

func (c *compiler) region(path string, start, size uint32) (image.Range, error) {
	r := image.Range{Start: uint64(start), End: uint64(start) + uint64(size)}
	switch {
	case size == 0 || size > MaxImage:
		return r, c.at.Errorf(path, fmt.Sprintf("1 to %d bytes", MaxImage), "%d bytes", size)
	case r.End > 1<<32:
		return r, c.at.Errorf(path, "an end of at most 0x100000000", "the image ends at 0x%x", r.End)
	}
	return r, nil
}

func (c *compiler) regions(im *calibrationv1.ImageLayout) error {
	if err := c.without("image", "start and size, or regions", im, "start", "size"); err != nil {
		return err
	}
	if n := len(im.GetRegions()); n > maxRegions {
		return c.at.Errorf("image.regions", fmt.Sprintf("at most %d", maxRegions), "%d regions", n)
	}
	var all image.Space
	for i, given := range im.GetRegions() {
		path := fmt.Sprintf("image.regions[%d]", i)
		r, err := c.region(path+".size", given.GetStart(), given.GetSize())
		if err != nil {
			return err
		}
		if i > 0 && r.Start <= all[i-1].End {
			return c.at.Errorf(path, fmt.Sprintf("a start above 0x%x; regions ascend, and those that touch are one", all[i-1].End), "it begins at 0x%x", r.Start)
		}
		if all = append(all, r); all.Size() > MaxImage {
			return c.at.Errorf(path, fmt.Sprintf("%d bytes in all", MaxImage), "the regions are too large together")
		}
	}
	c.lay.Space, c.lay.Size = all, all.Size()
	return nil
}
