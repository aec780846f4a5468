package definition

import (
	"fmt"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/checksum"
	"witnessmark/tables/image"
)

// maxSummed is how often the checksums of a definition may go over the whole image;
// maxChecksums and maxVolatile keep the checks of overlap short.
const (
	maxSummed    = 16
	maxChecksums = 256
	maxVolatile  = 4096
)

// Checksum is a compiled checksum.
type Checksum struct {
	ID        string
	Algorithm string
	Over      []image.Range
	Stored    *Cells // 1x1, unsigned integer
	Restamped bool
}

func (c *compiler) checksums() {
	seen := map[string]string{}
	if n := len(c.d.GetChecksums()); n > maxChecksums {
		c.wrong(c.at.Errorf("checksums", fmt.Sprintf("at most %d", maxChecksums), "%d checksums", n))
		return
	}
	summed := uint64(0)
	for i, s := range c.d.GetChecksums() {
		path := fmt.Sprintf("checksums[%d]", i)
		if c.wrong(c.at.ID(path, s.GetId(), seen)) {
			continue
		}
		sum, err := c.checksum(path, s, &summed)
		if c.wrong(err) {
			continue
		}
		c.lay.Checksums = append(c.lay.Checksums, sum)
		r := image.Range{Start: sum.Stored.Offset, End: sum.Stored.Offset + uint64(sum.Stored.Bytes)}
		c.kept = append(c.kept, keptOut{written{r, path + ".stored"}, fmt.Sprintf("the stored sum of %q", sum.ID), false})
	}
}

func (c *compiler) checksum(path string, s *calibrationv1.Checksum, summed *uint64) (*Checksum, error) {
	algorithm, known := checksum.Lookup(s.GetAlgorithm())
	if !known {
		return nil, c.at.Errorf(path+".algorithm", algorithmsLike(s.GetAlgorithm()), "%.60q is not known", s.GetAlgorithm())
	}
	sum := &Checksum{ID: s.GetId(), Algorithm: s.GetAlgorithm(), Restamped: s.GetRestampedOnWrite()}
	if len(s.GetOver()) == 0 {
		return nil, c.at.Errorf(path+".over", "at least one range", "the sum is over nothing")
	}
	for j, over := range s.GetOver() {
		r, err := c.span(fmt.Sprintf("%s.over[%d]", path, j), over.GetStart(), over.GetEnd())
		if err != nil {
			return nil, err
		}
		sum.Over = append(sum.Over, r)
		if *summed += r.End - r.Start; *summed > maxSummed*c.lay.Size {
			return nil, c.at.Errorf(path+".over", fmt.Sprintf("sums over at most %d times the image", maxSummed), "the ranges are too large together")
		}
	}
	return sum, c.sumField(path+".stored", s.GetStored(), sum, algorithm.Width)
}

// algorithmsLike lists the algorithms of the same family as a mistaken name, or the families.
func algorithmsLike(name string) string {
	family, _, _ := strings.Cut(strings.ToLower(name), "/")
	var like, families []string
	for _, known := range checksum.Names() {
		f, _, _ := strings.Cut(known, "/")
		if f == family {
			like = append(like, known)
		}
		if !slices.Contains(families, f) {
			families = append(families, f)
		}
	}
	if like != nil {
		return listed(like)
	}
	return "the catalogue's names of " + strings.Join(families, ", ")
}

// sumField lays out where a sum is stored.
func (c *compiler) sumField(path string, s *calibrationv1.Stored, sum *Checksum, width int) error {
	if s == nil {
		return c.at.Errorf(path, "stored: {address: …, type: …}", "where the sum lies is missing")
	}
	if s.GetCount() > 1 {
		return c.at.Errorf(path+".count", "no count", "a sum is one value, not %d", s.GetCount())
	}
	cells, err := c.stored(path, fmt.Sprintf("checksum %q", sum.ID), s, shape{nx: 1, ny: 1})
	if err != nil {
		return err
	}
	if cells.Float || cells.Signed || int(cells.Width) < width {
		return c.at.Errorf(path+".type", fmt.Sprintf("an unsigned type of %d bits or more", width), "type %s cannot hold %s", s.GetType(), sum.Algorithm)
	}
	cells.Conv = Conversion{Factor: 1}
	sum.Stored = cells
	return nil
}
