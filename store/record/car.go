package record

import (
	"strings"
	"unicode"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// car is one car's memory across its jobs. It goes by its plate, and by its frame number where
// one was given: a frame number that is known brings its car along to a new plate, and another
// frame number under the same plate is another car.
type car struct {
	plate  string // as last typed
	frame  string // digest; empty where none was given
	events []*recordv1.CarEvent
	inCar  *recordv1.InCar
}

// NormalPlate is what plates are compared by: letters and digits alone, upper case.
func NormalPlate(plate string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) {
			return -1
		}
		return unicode.ToUpper(r)
	}, plate)
}

// FrameDigest is the hex SHA-256 of the genesis hash (its hex form) and the frame number, upper
// case and without spaces and hyphens. The genesis makes it another one in every ledger.
func FrameDigest(genesisSHA256, frame string) string {
	frame = strings.NewReplacer(" ", "", "-", "").Replace(strings.ToUpper(frame))
	return hexSHA256([]byte(genesisSHA256 + frame))
}

// carFor finds or makes the car of a job.
func (s *State) carFor(plate, frame string) *car {
	c := s.plates[NormalPlate(plate)]
	if frame != "" {
		if known := s.frames[frame]; known != nil {
			c = known
		} else if c != nil && c.frame != "" {
			c = nil // the plate has moved to another car
		}
	}
	if c == nil {
		c = &car{}
	}
	if frame != "" {
		c.frame = frame
		s.frames[frame] = c
	}
	c.plate = plate
	s.plates[NormalPlate(plate)] = c
	return c
}

func (c *car) add(a *applied, j *job, sub uint32, e *recordv1.CarEvent) {
	e.Event, e.Job, e.Submission = a.event, j.msg.GetNumber(), sub
	c.events = append(c.events, e)
}

// InCar is what the ledger says is in the car that has this plate now: the latest of a read, a
// read-back that matched, and a writing that could not be read back. Its image is the one read,
// or the one written. False where the car is unknown or was never read.
func (s *State) InCar(plate string) (*recordv1.InCar, bool) {
	c := s.plates[NormalPlate(plate)]
	if c == nil || c.inCar == nil {
		return nil, false
	}
	return proto.CloneOf(c.inCar), true
}

// CarHistory is everything that happened to the car that has this plate now, in ledger order; no
// events where it is unknown. Which tables a submission changed is in its report, not here.
func (s *State) CarHistory(plate string) *recordv1.CarHistory {
	c := s.plates[NormalPlate(plate)]
	if c == nil {
		return &recordv1.CarHistory{Car: plate}
	}
	return proto.CloneOf(&recordv1.CarHistory{Car: c.plate, Events: c.events, InCar: c.inCar})
}
