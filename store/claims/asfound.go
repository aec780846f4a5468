package claims

import (
	"cmp"
	"slices"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
	"witnessmark/tables/image"
)

// asFound is the first read, in all visits of a car, of the software that the base is of, which may be the base itself; nil
// where there is none. A read that was voided or erased is none.
func (m *making) asFound(car uint32) (*image.Image, error) {
	var reads []*recordv1.Read
	definitions := map[*recordv1.Read]string{}
	err := m.src.View(func(s *record.State) error {
		for _, j := range s.CarJobs(car) {
			for _, r := range j.GetReads() {
				if _, there := s.Image(r.GetImage().GetSha256()); there && r.GetVoided() == nil {
					reads, definitions[r] = append(reads, r), j.GetDefinition().GetName()
				}
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	slices.SortFunc(reads, func(a, b *recordv1.Read) int { return cmp.Compare(a.GetAdded().GetEntry(), b.GetAdded().GetEntry()) })
	seen := map[string]bool{}
	for _, r := range reads {
		sha := r.GetImage().GetSha256()
		if sha == string(m.Base.SHA256()) {
			return m.Base, nil
		}
		if seen[sha] || uint64(r.GetImage().GetSize()) != m.Layout.Size {
			continue
		}
		seen[sha] = true
		b, err := m.bytes("the car's first read", sha)
		if err != nil {
			return nil, err
		}
		im, err := image.FromMessage(r.GetImage(), m.Layout.Space, b)
		if err == nil && m.sameSoftware(im, definitions[r]) {
			return im, nil
		}
	}
	return nil, nil
}

// sameSoftware says whether an image is of the base's software; where no identity field tells, the name of
// its definition does.
func (m *making) sameSoftware(im *image.Image, definedBy string) bool {
	if other, told := compare.OtherSoftware(m.Layout, im, m.Base); told {
		return !other
	}
	return definedBy == m.Layout.Name
}
