package definition

import (
	"fmt"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// maxSummed is how often the checksums of a definition may go over the whole image, a list of ranges once;
// maxChecksums and maxVolatile keep the checks of overlap short, maxEntries a list of ranges.
const (
	maxSummed    = 16
	maxChecksums = 256
	maxVolatile  = 4096
	maxEntries   = 4096
)

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
		sum := &Checksum{ID: s.GetId(), Algorithm: s.GetAlgorithm(), Restamped: s.GetRestampedOnWrite(), word: 1}
		if !c.wrong(c.checksum(path, s, sum, &summed)) {
			c.lay.Checksums = append(c.lay.Checksums, sum)
		}
	}
}

func (c *compiler) checksum(path string, s *calibrationv1.Checksum, sum *Checksum, summed *uint64) error {
	if err := c.algorithm(path, s, sum); err != nil {
		return err
	}
	if s.GetBlocksAt() != nil {
		*summed += c.lay.Size
		return c.blocks(path, s, sum)
	}
	if err := c.over(path+".over", s, sum, summed); err != nil {
		return err
	}
	var err error
	if sum.Stored, err = c.sumField(path+".stored", s.GetStored(), sum); err != nil {
		return err
	}
	if s.GetInverseAt() != nil {
		if sum.Inverse, err = c.sumField(path+".inverse_at", s.GetInverseAt(), sum); err != nil {
			return err
		}
		if sum.Inverse.Width != sum.Stored.Width {
			return c.at.Errorf(path+".inverse_at.type", fmt.Sprintf("%d bits, as of what is stored", sum.Stored.Width), "%d bits", sum.Inverse.Width)
		}
	}
	if s.Equals == nil {
		return nil
	}
	return c.among(path+".stored", s, sum)
}

func (c *compiler) over(path string, s *calibrationv1.Checksum, sum *Checksum, summed *uint64) error {
	if len(s.GetOver()) == 0 {
		return c.at.Errorf(path, "at least one range", "the sum is over nothing")
	}
	for i, over := range s.GetOver() {
		at := fmt.Sprintf("%s[%d]", path, i)
		r, err := c.span(at, over.GetStart(), over.GetEnd())
		if err != nil {
			return err
		}
		if n := r.End - r.Start; n%sum.word != 0 {
			return c.at.Errorf(at, fmt.Sprintf("a whole number of words of %d bytes", sum.word), "%d bytes", n)
		}
		sum.Over = append(sum.Over, r)
		if *summed += r.End - r.Start; *summed > maxSummed*c.lay.Size {
			return c.at.Errorf(path, fmt.Sprintf("sums over at most %d times the image", maxSummed), "the ranges are too large together")
		}
	}
	return nil
}

// sumField lays out where a sum is stored.
func (c *compiler) sumField(path string, s *calibrationv1.Stored, sum *Checksum) (*Cells, error) {
	if s == nil {
		return nil, c.at.Errorf(path, "stored: {address: …, type: …}", "where the sum lies is missing")
	}
	if sum.algorithm == nil {
		return c.hashField(path, s, sum)
	}
	if s.GetCount() > 1 {
		return nil, c.at.Errorf(path+".count", "no count", "a sum is one value, not %d", s.GetCount())
	}
	for _, f := range []struct {
		field string
		given bool
	}{{"pointer", s.GetPointer() != ""}, {"reversed", s.GetReversed()}, {"not_a_value", len(s.GetNotAValue()) > 0},
		{"count_at", s.GetCountAt() != nil}, {"layout", s.GetLayout() != ""}, {"length", s.GetLength() != 0}} {
		if f.given {
			return nil, c.at.Errorf(path+"."+f.field, "address, type, byte_order and mask", "a sum has no %s", f.field)
		}
	}
	cells, err := c.stored(path, fmt.Sprintf("checksum %q", sum.ID), s, shape{})
	if err != nil {
		return nil, err
	}
	if width := sum.algorithm.Width; cells.Float || cells.Signed || int(cells.Width) < width {
		return nil, c.at.Errorf(path+".type", fmt.Sprintf("an unsigned type of %d bits or more", width), "type %s cannot hold %s", s.GetType(), sum.Algorithm)
	}
	return c.keep(path, "the stored sum of", sum, cells), nil
}

func (c *compiler) hashField(path string, s *calibrationv1.Stored, sum *Checksum) (*Cells, error) {
	const bytes = 32
	if s.GetLength() != bytes || s.GetType() != "" {
		return nil, c.at.Errorf(path, fmt.Sprintf("stored: {address: …, length: %d}", bytes), "a SHA-256 is %d bytes", bytes)
	}
	cells, err := c.stored(path, fmt.Sprintf("checksum %q", sum.ID), &calibrationv1.Stored{Address: s.GetAddress(), Type: "u8"}, shape{counts: []int{bytes}})
	if err != nil {
		return nil, err
	}
	return c.keep(path, "the stored hash of", sum, cells), nil
}

// among is where the stored sum stands among what it makes up for: it is then one of the words.
func (c *compiler) among(path string, s *calibrationv1.Checksum, sum *Checksum) error {
	at := sum.Stored.Extent()
	for _, r := range sum.Over {
		if at.End <= r.Start || r.End <= at.Start {
			continue
		}
		if sum.within || uint64(sum.Stored.Bytes) != sum.word || int(sum.Stored.Width) != 8*sum.Stored.Bytes || (at.Start-r.Start)%sum.word != 0 ||
			sum.word > 1 && sum.Stored.Little != (c.order(s.GetByteOrder()) == "little") {
			return c.at.Errorf(path, fmt.Sprintf("one of the words, of %d bytes, in their byte order and once; or outside of over", sum.word), "it stands among what is added up to equals")
		}
		sum.within = true
	}
	return nil
}

// keep has nothing else use the bytes of a sum.
func (c *compiler) keep(path, what string, sum *Checksum, cells *Cells) *Cells {
	cells.Conv = Conversion{Factor: 1}
	c.kept = append(c.kept, keptOut{written{cells.Extent(), path}, fmt.Sprintf("%s %q", what, sum.ID), false})
	return cells
}

// blocks lays out a list of ranges that stands in the image.
func (c *compiler) blocks(path string, s *calibrationv1.Checksum, sum *Checksum) error {
	b := s.GetBlocksAt()
	if s.GetStored() != nil || len(s.GetOver()) > 0 || s.GetInverseAt() != nil || s.Equals != nil {
		return c.at.Errorf(path+".blocks_at", "no over, stored, inverse_at or equals beside it", "the image lists the ranges and their sums by itself")
	}
	path += ".blocks_at"
	if err := c.oneOf(path+".type", b.GetType(), "u16", "u32"); err != nil {
		return err
	}
	if n := b.GetCount(); n == 0 || n > maxEntries {
		return c.at.Errorf(path+".count", fmt.Sprintf("1 to %d entries", maxEntries), "%d", n)
	}
	list := &Blocks{start: slices.Index(b.GetEntry(), "start"), end: slices.Index(b.GetEntry(), "end"), sum: slices.Index(b.GetEntry(), "sum"), space: c.lay.Space}
	if last := slices.Index(b.GetEntry(), "last"); list.end < 0 {
		list.end, list.last = last, 1
	}
	if len(b.GetEntry()) != 3 || min(list.start, list.end, list.sum) < 0 {
		return c.at.Errorf(path+".entry", "start, end (or last) and sum, once each, in their order", "%.60q", strings.Join(b.GetEntry(), ", "))
	}
	if bits := 8 * types[b.GetType()].Bytes; sum.algorithm == nil || sum.algorithm.Width > bits {
		return c.at.Errorf(path+".type", fmt.Sprintf("a sum of at most %d bits", bits), "type %s cannot hold %s", b.GetType(), sum.Algorithm)
	}
	place := &calibrationv1.Stored{Address: b.GetAddress(), Type: b.GetType(), ByteOrder: b.GetByteOrder()}
	cells, err := c.stored(path, fmt.Sprintf("checksum %q", sum.ID), place, shape{counts: []int{3, int(b.GetCount())}})
	if err != nil {
		return err
	}
	list.Cells = c.keep(path, "the list of", sum, cells)
	sum.Blocks = list
	return nil
}

// order is a byte order, the definition's where none is said.
func (c *compiler) order(said string) string {
	if said == "" {
		return c.d.GetByteOrder()
	}
	return said
}
