package definition

import (
	"fmt"
	"slices"
	"sort"
	"strings"

	"witnessmark/tables/image"
)

// WrongSum is a sum that is not right: what stands at Address, and what is right, as Verify prints them.
type WrongSum struct {
	ID               string
	Address          uint64
	Stored, Computed string
}

// WrongSums is the sums of an image that are not right, in the definition's order; those of which the image lacks
// something are left out.
func (l *Layout) WrongSums(im *image.Image) []WrongSum {
	var all []WrongSum
	gaps := l.gaps(im)
	for _, c := range l.Checksums {
		if len(gaps) > 0 && len(image.Common(c.Needs(im.Bytes), gaps)) > 0 {
			continue
		}
		for _, s := range c.In(im.Bytes) {
			if stored, computed := s.Verify(im.Bytes); stored != computed {
				all = append(all, WrongSum{s.ID, l.Space.Address(s.Stored.Offset), stored, computed})
			}
		}
	}
	return all
}

// Restamp is a copy of an image with its sums put right, or with those of these ids alone; each after those
// whose bytes it covers. It says which had been wrong, in that order. An error names the sum that cannot be
// put right: one whose range is not known or none, that covers itself, or that stands in a circle.
func (l *Layout) Restamp(im *image.Image, only []string) (*image.Image, []WrongSum, error) {
	out := &image.Image{Format: im.Format, Space: im.Space, Bytes: slices.Clone(im.Bytes), Held: im.Held}
	r := &restamper{l: l, image: out.Bytes, state: map[*Checksum]int{}}
	if err := r.choose(im, only); err != nil {
		return nil, nil, err
	}
	for _, s := range r.sums {
		if err := r.right(s); err != nil {
			return nil, nil, err
		}
	}
	return out, r.done, nil
}

// restamper puts sums right, each after those that it covers.
type restamper struct {
	l      *Layout
	image  []byte
	sums   []*Checksum
	places []place // of what they stamp, by offset
	state  map[*Checksum]int
	trail  []string // of sums that wait for one another
	done   []WrongSum
}

// place is where a sum is stamped.
type place struct {
	image.Range
	sum *Checksum
}

const (
	waiting = iota + 1
	settled
)

// choose takes the sums with these ids, or all.
func (r *restamper) choose(im *image.Image, only []string) error {
	gaps, found := r.l.gaps(im), map[string]bool{}
	var ids []string
	for _, c := range r.l.Checksums {
		ids = append(ids, c.ID)
		lacks := image.Common(c.Needs(im.Bytes), gaps)
		for _, s := range c.In(im.Bytes) {
			found[c.ID], found[s.ID] = true, true
			if only != nil && !slices.Contains(only, c.ID) && !slices.Contains(only, s.ID) {
				continue
			}
			if len(lacks) > 0 {
				at := r.l.Space.Addresses(lacks)[0]
				return fmt.Errorf("checksum %s: the image lacks 0x%x to 0x%x of what it is over; allowed: sums of which all is known", c.ID, at.Start, at.End)
			}
			if s.astray != "" {
				return fmt.Errorf("checksum %s: %s; nothing can be stored for it", s.ID, s.astray)
			}
			r.sums = append(r.sums, s)
			for _, cells := range s.Stamped() {
				r.places = append(r.places, place{cells.Extent(), s})
			}
		}
	}
	for _, id := range only {
		if !found[id] {
			return fmt.Errorf("checksum %s is not in definition %s; allowed: %s", id, r.l.Name, listed(ids))
		}
	}
	slices.SortFunc(r.places, func(a, b place) int { return int(a.Start) - int(b.Start) })
	return nil
}

// right puts one sum right, and before it those that it covers.
func (r *restamper) right(s *Checksum) error {
	if r.state[s] == settled {
		return nil
	}
	r.trail = append(r.trail, s.ID)
	if r.state[s] == waiting {
		round := r.trail[slices.Index(r.trail, s.ID):]
		return fmt.Errorf("checksums %s: each covers where the next is stored, in a circle; no order puts all of them right", strings.Join(round, ", "))
	}
	r.state[s] = waiting
	for _, over := range s.Over {
		first := sort.Search(len(r.places), func(i int) bool { return r.places[i].End > over.Start })
		for _, p := range r.places[first:] {
			if p.Start >= over.End {
				break
			}
			if p.sum == s {
				continue
			}
			if err := r.right(p.sum); err != nil {
				return err
			}
		}
	}
	r.trail = r.trail[:len(r.trail)-1]
	r.state[s] = settled
	return r.stamp(s)
}

func (r *restamper) stamp(s *Checksum) error {
	was, right := s.Verify(r.image)
	if was == right {
		return nil
	}
	now := was
	for tries := 0; now != right && tries < 2; tries++ { // among what it covers, it and its inverse may add up to the same from now on
		s.stamp(r.image)
		now, right = s.Verify(r.image)
	}
	if now != right {
		return fmt.Errorf("checksum %s covers the bytes that it is stored in: what is stored changes what is right; allowed: to be stored elsewhere, or equals", s.ID)
	}
	r.done = append(r.done, WrongSum{s.ID, r.l.Space.Address(s.Stored.Offset), was, right})
	return nil
}
