package claims

import (
	"slices"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// read: the image is the definition's and the car's, it is judged by itself, and held against what
// was last in the car.
func (m *making) read(r *recordv1.AddRead) error {
	j, err := m.job(r.GetJob())
	if err != nil {
		return err
	}
	if m.Candidate, err = m.ours("read.image", r.GetImage()); err != nil {
		return err
	}
	if err := identify(m.Layout, m.Candidate); err != nil {
		return refuse(ReasonImage, "read.image", "", "the image is not one of definition %s: %s", m.Layout.Name, oneLine(err))
	}
	r.Holes = image.Messages(m.Layout.Lacks(m.Candidate))
	frame, err := m.frame(j, r.GetFrame())
	if err != nil {
		return err
	}
	if r.Car, err = m.carOfRead(j, frame, r.GetCar()); err != nil {
		return err
	}
	if r.Check, err = m.judge(j, false, nil); err != nil {
		return err
	}
	r.LastKnown, err = m.lastKnown(j, r.GetCar())
	return err
}

// identify asks the fields that an image holds whether it is what the definition is for.
func identify(lay *definition.Layout, im *image.Image) error {
	held := *lay
	held.Identity = slices.DeleteFunc(slices.Clone(lay.Identity), func(f *definition.IdentityField) bool { return !holds(lay, im, f) })
	return held.Identify(im.Bytes)
}

func holds(lay *definition.Layout, im *image.Image, f *definition.IdentityField) bool {
	at := image.Range{Start: lay.Start + f.Range.Start, End: lay.Start + f.Range.End}
	return len(image.Common(im.Gaps(), []image.Range{at})) == 0
}

// FrameOf is the frame number that a read seals: of the fields that belong to one car the one that
// is the job's, or the first where the job has none yet. False where there is nothing to seal: the
// definition has no such field, the image does not hold it, or it is blank.
func FrameOf(lay *definition.Layout, im *image.Image, jobFrame string) (string, bool) {
	frame, _ := frameOf(lay, im, jobFrame)
	ok := record.CheckOpened(&recordv1.Opening{Field: "frame", Text: frame}) == nil
	return frame, ok && (jobFrame == "" || frame == jobFrame)
}

// frameOf also says whether the image is certainly of another car than the job's.
func frameOf(lay *definition.Layout, im *image.Image, jobFrame string) (frame string, other bool) {
	for _, f := range lay.Identity {
		if !f.Vehicle {
			continue
		}
		if !holds(lay, im, f) {
			return "", false // it may be this one
		}
		if frame = record.NormalFrame(f.Text(im.Bytes)); jobFrame == "" || frame == jobFrame {
			return frame, false
		}
		other = true
	}
	return "", other
}

// frame is the frame number that a read seals; empty where it was erased or there is none.
func (m *making) frame(j *recordv1.Job, sealed *recordv1.Sealed) (string, error) {
	said, known := m.text(sealed)
	typed := j.GetFrame().GetText()
	if !known || j.GetFrame() != nil && typed == "" {
		m.Forgotten = true
		return "", nil
	}
	want, ok := FrameOf(m.Layout, m.Candidate, typed)
	_, other := frameOf(m.Layout, m.Candidate, typed)
	switch {
	case other:
		return "", refuse(ReasonOtherFrame, "read.image", "", "read.image: none of its frame numbers is that of job %d; allowed: a read of the job's car", j.GetNumber())
	case !ok && sealed.GetCommitment() != "":
		return "", refuse(ReasonOtherFrame, "read.frame", "", "read.frame: the image says none; allowed: nothing")
	case ok && said != want:
		return "", refuse(ReasonOtherFrame, "read.frame", "", "read.frame: is not the one that the image holds; allowed: that one, in capitals without blanks and hyphens")
	}
	return said, nil
}

// carOfRead is the car known by the frame number that a job's read as found holds, else the job's.
func (m *making) carOfRead(j *recordv1.Job, frame string, said uint32) (car uint32, err error) {
	if record.AsFound(j) != nil {
		return j.GetCar(), nil
	}
	if m.forgot || m.Forgotten {
		m.Forgotten = true
		return said, nil
	}
	car = j.GetCar()
	err = m.src.View(func(s *record.State) error {
		if cars := s.CarsByFrame(frame); len(cars) > 0 && !slices.Contains(cars, car) {
			car = cars[0]
		}
		return nil
	})
	return car, err
}

// lastKnown holds a read against what the record says was last in the car, by the definition of the
// job that left it there.
func (m *making) lastKnown(j *recordv1.Job, car uint32) (*recordv1.LastKnown, error) {
	var in *recordv1.InCar
	var left *recordv1.Image
	var def *recordv1.Revision
	err := m.src.View(func(s *record.State) error {
		if in = s.InCar(car); in.GetKnown() {
			before, _ := s.Job(in.GetJob())
			def = newest(s, record.Definitions, before.GetDefinition())
			left, _ = s.Image(in.GetImageSha256())
		}
		return nil
	})
	if err != nil || !in.GetKnown() {
		return nil, err
	}
	k := &recordv1.LastKnown{Job: in.GetJob(), Submission: in.GetSubmission(), ImageSha256: in.GetImageSha256()}
	if left.GetSha256() == "" { // its bytes were erased: the hash is all that is left of them
		k.Same = in.GetImageSha256() == string(m.Candidate.SHA256())
		return k, nil
	}
	by := &making{c: m.c, Made: &Made{}, src: m.src}
	if by.Layout, err = m.c.Layout(m.src, def); err != nil || uint64(left.GetSize()) != by.Layout.Size {
		return k, err
	}
	if m.Last, err = by.ours("read.last_known", left); err != nil {
		return nil, err
	}
	if k.Same, _ = by.same(m.Last, over(m.Candidate, m.Last)); k.Same || by.Layout.SHA256 != m.Layout.SHA256 {
		return k, nil
	}
	a, err := m.report(j, m.Last, m.Candidate, false, nil)
	if err != nil {
		return nil, err
	}
	m.LastReport, k.ReportSha256 = a.report, string(a.sha)
	return k, nil
}
