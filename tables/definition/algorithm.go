package definition

import (
	"fmt"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/checksum"
)

// algorithm is how a sum is computed, with all that is said of it.
func (c *compiler) algorithm(path string, s *calibrationv1.Checksum, sum *Checksum) error {
	name := s.GetAlgorithm()
	a, known := checksum.Lookup(name)
	words := name == checksum.Add || name == checksum.XOR
	if !known && !words && name != checksum.SHA256 {
		return c.at.Errorf(path+".algorithm", algorithmsLike(name), "%.60q is not known", name)
	}
	crc := known && a.CRC()
	for _, f := range []struct {
		field        string
		given, taken bool
		of           string
	}{
		{"word", s.GetWord() != 0, words, "sum and xor"},
		{"accumulator", s.GetAccumulator() != 0, words, "sum and xor"},
		{"byte_order", s.GetByteOrder() != "", words, "sum and xor"},
		{"complement", s.GetComplement() != "", words, "sum and xor"},
		{"equals", s.Equals != nil, name == checksum.Add, "sum"},
		{"init", s.Init != nil, crc, "CRCs"},
		{"word_reversed", s.GetWordReversed() != 0, crc, "CRCs"},
		{"inverse_at", s.GetInverseAt() != nil, name != checksum.SHA256, "sums other than sha-256"},
	} {
		if f.given && !f.taken {
			return c.at.Errorf(path+"."+f.field, f.field+" of "+f.of+" alone", "%s has none", name)
		}
	}
	var err error
	switch {
	case words:
		a, err = c.wordSum(path, s, sum)
	case crc:
		a, err = c.crc(path, s, sum, a)
	}
	sum.algorithm = a
	return err
}

// wordSum is a sum or XOR of words.
func (c *compiler) wordSum(path string, s *calibrationv1.Checksum, sum *Checksum) (*checksum.Algorithm, error) {
	word, accumulator := s.GetWord(), s.GetAccumulator()
	if !slices.Contains([]uint32{1, 2, 4}, word) {
		return nil, c.at.Errorf(path+".word", "1, 2 or 4 bytes", "words of %d bytes", word)
	}
	if accumulator == 0 {
		accumulator = word
	}
	if !slices.Contains([]uint32{1, 2, 4, 8}, accumulator) || accumulator < word {
		return nil, c.at.Errorf(path+".accumulator", "1, 2, 4 or 8 bytes, as many as a word or more", "%d bytes for words of %d", accumulator, word)
	}
	order, complement := c.order(s.GetByteOrder()), s.GetComplement()
	if err := c.oneOf(path+".byte_order", order, "big", "little"); err != nil {
		return nil, err
	}
	if complement == "" {
		complement = "none"
	}
	if err := c.oneOf(path+".complement", complement, "none", "one", "two"); err != nil {
		return nil, err
	}
	sum.word = uint64(word)
	a := checksum.Words(s.GetAlgorithm(), int(word), int(accumulator), order == "little")
	equals, most := s.GetEquals(), ^uint64(0)>>(64-a.Width)
	switch {
	case s.Equals != nil && complement != "none":
		return nil, c.at.Errorf(path+".equals", "equals or complement", "what is stored cannot be both")
	case equals > most:
		return nil, c.at.Errorf(path+".equals", fmt.Sprintf("at most 0x%x, for an accumulator of %d bytes", most, accumulator), "0x%x", equals)
	case s.Equals != nil:
		a = a.Then(func(sum uint64) uint64 { return equals - sum })
	case complement == "one":
		a = a.Then(func(sum uint64) uint64 { return ^sum })
	case complement == "two":
		a = a.Then(func(sum uint64) uint64 { return -sum })
	}
	return a, nil
}

// crc is one of the catalogue, from another start or over words turned round.
func (c *compiler) crc(path string, s *calibrationv1.Checksum, sum *Checksum, a *checksum.Algorithm) (*checksum.Algorithm, error) {
	if s.Init != nil {
		if most := ^uint64(0) >> (64 - a.Width); s.GetInit() > most {
			return nil, c.at.Errorf(path+".init", fmt.Sprintf("at most 0x%x, the algorithm's %d bits", most, a.Width), "0x%x", s.GetInit())
		}
		a = a.From(s.GetInit())
	}
	switch n := s.GetWordReversed(); n {
	case 0:
	case 2, 4:
		sum.word, a = uint64(n), a.Reversed(int(n))
	default:
		return nil, c.at.Errorf(path+".word_reversed", "2 or 4 bytes", "words of %d bytes", n)
	}
	return a, nil
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
