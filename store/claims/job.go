package claims

import (
	"cmp"
	"slices"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/reckon"
)

// opened: a job's details, and whether its definition says that it was carried over.
func (m *making) opened(o *recordv1.OpenJob) error {
	err := m.details("job.details", o.GetDetails(), o.GetDefinition(), nil)
	if err == nil {
		o.DefinitionCarried = m.Layout.Source.GetCarried() != nil
	}
	return err
}

// amend keeps a job's definition, and the frame number of its read as found.
func (m *making) amend(a *recordv1.AmendJob) error {
	j, def, _, err := newestOf(m.src, a.GetJob())
	if err != nil {
		return err
	}
	typed, held := m.text(a.GetDetails().GetFrame()), record.AsFound(j).GetFrame().GetText()
	if typed != "" && held != "" && typed != held {
		return refuse(ReasonOtherFrame, "amend.details.frame", "", "amend.details.frame: is not that of the read as found of job %d; allowed: that one, or void the read first", j.GetNumber())
	}
	return m.details("amend.details", a.GetDetails(), def, j)
}

// details: what people say of a job fits the files that it names, and the car is the one that its
// plate and frame number are known of; was is the job that is corrected, nil of a new one.
func (m *making) details(at string, d *recordv1.JobDetails, def *recordv1.Revision, was *recordv1.Job) (err error) {
	if m.Rules, err = m.c.compile(m.src, def, d.GetLimits()); err != nil {
		return err
	}
	if _, err := reckon.Facts(d.GetFuel(), d.GetNumbers()); err != nil {
		return refuse(ReasonNumbers, at+".numbers", "", "%s.numbers: %s", at, oneLine(err))
	}
	d.LimitsFuel = m.Limits.Source.GetFuel()
	plate, frame := record.NormalPlate(m.text(d.GetPlate())), m.text(d.GetFrame())
	if m.Forgotten = m.Forgotten || m.uncertain; m.Forgotten {
		return nil
	}
	return m.src.View(func(s *record.State) (err error) {
		d.Car, err = carOf(s, at, plate, frame, d.GetCarSaid(), was)
		return err
	})
}

// carOf is the car of a job: the one known by its frame number, else by its plate, else the one that
// the job has, else 0 for a new one. What the job itself says of its car is not what another says.
func carOf(s *record.State, at, plate, frame, said string, was *recordv1.Job) (uint32, error) {
	if frame == "" { // nobody typed it, but a read may have shown it
		frame = record.AsFound(was).GetFrame().GetText()
	}
	own := was.GetCar()
	if said == "" && was != nil && record.NormalPlate(was.GetPlate().GetText()) == plate && was.GetFrame().GetText() == frame {
		return own, nil
	}
	labels := func(car uint32) (plates, frames []string) {
		for _, j := range s.CarJobs(car) {
			if j.GetNumber() != was.GetNumber() {
				plates, frames = append(plates, record.NormalPlate(j.GetPlate().GetText())), append(frames, j.GetFrame().GetText())
			}
		}
		return plates, slices.DeleteFunc(frames, func(f string) bool { return f == "" })
	}
	byFrame, byPlate := uint32(0), uint32(0)
	for _, car := range slices.Backward(s.CarsByPlate(plate)) {
		if plates, _ := labels(car); slices.Contains(plates, plate) {
			byPlate = car
		}
	}
	for _, car := range slices.Backward(s.CarsByFrame(frame)) {
		if _, frames := labels(car); slices.Contains(frames, frame) {
			byFrame = car
		}
	}
	car := cmp.Or(byFrame, byPlate, own)
	plates, frames := labels(car)
	otherPlate := byFrame != 0 && car != own && !slices.Contains(plates, plate)
	otherFrame := byFrame == 0 && frame != "" && len(frames) > 0
	switch {
	case said == "another" && car == own:
		return 0, nil
	case said == "another":
		return own, nil
	case said == "" && otherPlate:
		return 0, refuse(ReasonCarSaid, at+".car_said", "same, another", "%s.car_said: car %d has this frame number and another plate; say whether it is the same car or another", at, car)
	case said == "" && otherFrame:
		return 0, refuse(ReasonCarSaid, at+".car_said", "same, another", "%s.car_said: car %d is known by this plate, or is the job's, and has another frame number; say whether it is the same car or another", at, car)
	}
	return car, nil
}
