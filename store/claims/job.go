package claims

import (
	"cmp"
	"fmt"
	"slices"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/reckon"
)

// details: what people say of a job fits the files that it names, and the car is the one that its
// plate and frame number are known of; was is the job that is corrected, nil of a new one.
func (m *making) details(at string, d *recordv1.JobDetails, def *recordv1.Revision, was *recordv1.Job) error {
	if err := m.load(def, d.GetLimits()); err != nil {
		return err
	}
	if _, err := reckon.Facts(d.GetFuel(), d.GetNumbers()); err != nil {
		return refuse(ReasonNumbers, at+".numbers", "", "%s.numbers: %s", at, oneLine(err))
	}
	d.LimitsFuel = m.Limits.Source.GetFuel()
	plate, ok := m.text(d.GetPlate())
	frame, framed := m.text(d.GetFrame())
	if !ok || !framed || m.forgot {
		m.Forgotten = true
		return nil
	}
	return m.src.View(func(s *record.State) (err error) {
		d.Car, err = carOf(s, at, record.NormalPlate(plate), frame, d.GetCarSaid(), was)
		return err
	})
}

// amend keeps a job's definition, and the frame number of its read as found.
func (m *making) amend(a *recordv1.AmendJob) error {
	j, err := m.job(a.GetJob())
	if err != nil {
		return err
	}
	if frame, _ := m.text(a.GetDetails().GetFrame()); frame != "" {
		if f := record.AsFound(j).GetFrame(); f.GetText() != "" && f.GetText() != frame {
			return refuse(ReasonOtherFrame, "amend.details.frame", "", "amend.details.frame: is not that of the read as found of job %d; void the read first if it is of another car", j.GetNumber())
		}
	}
	return m.details("amend.details", a.GetDetails(), &recordv1.Revision{Name: m.Layout.Name, Sha256: m.Layout.SHA256}, j)
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
	labels := labelled{s, was.GetNumber()}
	byFrame, byPlate := uint32(0), uint32(0)
	if frame != "" {
		byFrame = labels.first(s.CarsByFrame(frame), func(_, frames []string) bool { return slices.Contains(frames, frame) })
	}
	byPlate = labels.first(s.CarsByPlate(plate), func(plates, _ []string) bool { return slices.Contains(plates, plate) })
	car := cmp.Or(byFrame, byPlate, own)
	switch said {
	case "same":
		return car, nil
	case "another":
		if car != own {
			return own, nil
		}
		return 0, nil
	}
	doubt := ""
	switch plates, frames := labels.of(car); {
	case byFrame != 0 && byFrame != own && !slices.Contains(plates, plate):
		doubt = fmt.Sprintf("car %d has this frame number and another plate", car)
	case byFrame == 0 && frame != "" && len(frames) > 0:
		doubt = fmt.Sprintf("car %d has this plate and another frame number", car)
		if byPlate == 0 {
			doubt = fmt.Sprintf("the job's car, %d, has another frame number", car)
		}
	}
	if doubt != "" {
		return 0, refuse(ReasonCarSaid, at+".car_said", "same, another", "%s.car_said: %s; say whether it is the same car or another", at, doubt)
	}
	return car, nil
}

// labelled tells what cars are known by, apart from what one job says.
type labelled struct {
	s      *record.State
	except uint32
}

func (l labelled) of(car uint32) (plates, frames []string) {
	for _, j := range l.s.CarJobs(car) {
		if j.GetNumber() == l.except {
			continue
		}
		plates = append(plates, record.NormalPlate(j.GetPlate().GetText()))
		if frame := j.GetFrame().GetText(); frame != "" {
			frames = append(frames, frame)
		}
	}
	return plates, frames
}

func (l labelled) first(cars []uint32, is func(plates, frames []string) bool) uint32 {
	for _, car := range cars {
		if is(l.of(car)) {
			return car
		}
	}
	return 0
}
