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
	if m.Candidate, err = m.image("read.image", r.GetImage()); err != nil {
		return err
	}
	held := *m.Layout // with the identity fields that the image holds
	held.Identity = slices.DeleteFunc(slices.Clone(held.Identity), func(f *definition.IdentityField) bool { return !Holds(&held, m.Candidate, f) })
	if err := held.Identify(m.Candidate.Bytes); err != nil {
		return refuse(ReasonImage, "read.image", "", "read.image: is not one of definition %s: %s", held.Name, oneLine(err))
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

// Holds says whether an image has all bytes of an identity field.
func Holds(lay *definition.Layout, im *image.Image, f *definition.IdentityField) bool {
	return len(image.Common(im.Gaps(), lay.Space.Addresses([]image.Range{f.Range}))) == 0
}

// FrameOf is the frame number that a read seals: of the fields that belong to one car the one that
// is the job's, or the first where the job has none yet. False where there is nothing to seal: the
// definition has no such field, the image does not hold it, or it is blank or another car's.
func FrameOf(lay *definition.Layout, im *image.Image, jobFrame string) (string, bool) {
	frame, _ := frameOf(lay, im, jobFrame)
	return frame, record.CheckOpened(&recordv1.Opening{Field: "frame", Text: frame}) == nil
}

// frameOf also says whether the image is of another car than the job's.
func frameOf(lay *definition.Layout, im *image.Image, jobFrame string) (frame string, other bool) {
	unknown := false
	for _, f := range lay.Identity {
		if !f.Vehicle {
			continue
		}
		held := Holds(lay, im, f)
		frame = record.NormalFrame(f.Text(im.Bytes))
		if held && (jobFrame == "" || frame == jobFrame) {
			return frame, false
		}
		if jobFrame == "" {
			return "", false
		}
		other, unknown = true, unknown || !held
	}
	return "", other && !unknown
}

// frame is the frame number that a read seals; empty where it was erased or there is none.
func (m *making) frame(j *recordv1.Job, sealed *recordv1.Sealed) (string, error) {
	said, typed := m.text(sealed), j.GetFrame().GetText()
	if m.Forgotten = m.Forgotten || j.GetFrame() != nil && typed == ""; m.Forgotten {
		return "", nil
	}
	if _, other := frameOf(m.Layout, m.Candidate, typed); other {
		return "", refuse(ReasonOtherFrame, "read.image", "", "read.image: no frame number in it is that of job %d; allowed: a read of the job's car", j.GetNumber())
	}
	want, ok := FrameOf(m.Layout, m.Candidate, typed)
	switch {
	case !ok && sealed.GetCommitment() != "":
		return "", refuse(ReasonOtherFrame, "read.frame", "", "read.frame: the image tells none; allowed: nothing")
	case ok && said != want:
		return "", refuse(ReasonOtherFrame, "read.frame", "", "read.frame: is not the one in the image; allowed: that one, in capitals without blanks and hyphens")
	}
	return said, nil
}

// carOfRead is the car known by the frame number that a job's read as found holds, else the job's.
func (m *making) carOfRead(j *recordv1.Job, frame string, said uint32) (car uint32, err error) {
	if record.AsFound(j) != nil {
		return j.GetCar(), nil
	}
	if m.Forgotten = m.Forgotten || m.uncertain; m.Forgotten {
		return said, nil
	}
	err = m.src.View(func(s *record.State) error {
		cars := s.CarsByFrame(frame)
		if car = j.GetCar(); len(cars) > 0 && !slices.Contains(cars, car) {
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
			def = newest(s, record.Definitions, before.GetDefinition().GetName())
			left, _ = s.Image(in.GetImageSha256())
		}
		return nil
	})
	if err != nil || !in.GetKnown() {
		return nil, err
	}
	k := &recordv1.LastKnown{Job: in.GetJob(), Submission: in.GetSubmission(), ImageSha256: in.GetImageSha256()}
	then := m.c.making(m.src)
	if then.Layout, err = m.c.Layout(m.src, def); err != nil || uint64(left.GetSize()) != then.Layout.Size {
		return k, err
	}
	if m.Last, err = then.image("read.last_known", left); err != nil {
		return nil, err
	}
	if k.Same, _ = then.same(m.Last, over(m.Candidate, m.Last)); k.Same || then.Layout.SHA256 != m.Layout.SHA256 {
		return k, nil
	}
	a, err := m.differ(j, m.Last, m.Candidate)
	if err == nil {
		m.LastReport, k.ReportSha256 = a.report, string(a.sha)
	}
	return k, err
}
