package record

import (
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

var openJob = &kind{
	name: "job",
	// the newest revision of the definition that it names
	target: func(s *State, a *recordv1.Action) (uint64, error) {
		name := a.GetJob().GetDefinition().GetName()
		f, ok := s.Newest(Definitions, name)
		if !ok {
			return 0, refuse(ReasonNotFound, "job.definition.name", "", "job.definition.name: there is no definition called %q", short(name))
		}
		return uint64(f.GetAdded().GetEntry()), nil
	},
	decide: func(d *decision) error {
		o := d.action.GetJob()
		if err := d.newestAt("job.definition", Definitions, "", o.GetDefinition()); err != nil {
			return err
		}
		if err := d.mayCarry(o); err != nil {
			return err
		}
		return d.details("job.details", o.GetDetails(), nil)
	},
	apply: func(c *change) {
		c.head.Jobs++
		n := c.head.Jobs
		c.jobs[n] = &recordv1.Job{Number: n}
		c.changeJob(n, func(j *recordv1.Job) {
			j.State, j.Opened, j.Definition = open, c.event, c.action.GetJob().GetDefinition()
			c.setDetails(j, c.action.GetJob().GetDetails())
		})
		if file, _ := c.Newest(Definitions, c.jobs[n].GetDefinition().GetName()); !file.GetUsed() {
			file.Used = true
			c.putNewest(Definitions, file)
		}
		c.tell(n, 0, "", "", "job %d opened", n)
	},
}

// mayCarry has a lead open the first job by a definition that was carried over from other software.
func (d *decision) mayCarry(o *recordv1.OpenJob) error {
	file, _ := d.Newest(Definitions, o.GetDefinition().GetName())
	if !o.GetDefinitionCarried() || file.GetUsed() || has(d.who, lead) {
		return nil
	}
	return refuse(ReasonCarried, "job.definition", signoff.RoleName(lead),
		"job.definition: %s was carried over from another software version, and no job was opened by revision %d of it yet; a lead opens the first one", file.GetName(), file.GetRevision())
}

// details asks the rules about what people say of a job; was is the job that they are to correct.
func (d *decision) details(at string, o *recordv1.JobDetails, was *recordv1.Job) error {
	if o.GetPlate().GetCommitment() == "" {
		return badValue(at+".plate", "a sealed plate", "missing")
	}
	if o.GetCar() > d.head.GetCars() {
		return refuse(ReasonNotFound, at+".car", "", "%s.car: there is no car %d; allowed: 0 for a new one, or 1 to %d", at, o.GetCar(), d.head.GetCars())
	}
	if err := checkOneOf(at+".car_said", o.GetCarSaid(), "", "same", "another"); err != nil {
		return err
	}
	if err := d.newestAt(at+".limits", Limits, "", o.GetLimits()); err != nil {
		return err
	}
	if err := checkDetails(at, o); err != nil {
		return err
	}
	settled := was != nil && was.GetFuel() == o.GetFuel() && was.GetLimits().GetName() == o.GetLimits().GetName()
	if fuels := o.GetLimitsFuel(); len(fuels) > 0 && !fuelAmong(fuels, o.GetFuel()) && !settled && !has(d.who, lead) {
		return refuse(ReasonFuel, at+".fuel", strings.Join(fuels, ", "),
			"%s.fuel: %s is for %s, not for %q; a lead can do it, or take other limits", at, o.GetLimits().GetName(), strings.Join(fuels, ", "), o.GetFuel())
	}
	return nil
}

// fuelAmong compares fuels whatever their case.
func fuelAmong(fuels []string, fuel string) bool {
	for _, f := range fuels {
		if strings.EqualFold(f, fuel) {
			return true
		}
	}
	return false
}

func checkDetails(at string, o *recordv1.JobDetails) error {
	if o.GetFuel() != "" {
		if err := checkLine(at+".fuel", o.GetFuel(), maxShort); err != nil {
			return err
		}
	}
	if len(o.GetParts()) > maxParts || len(o.GetLimitsFuel()) > maxParts {
		return badValue(at+".parts", "at most 100 parts, and 100 fuels", "there are more")
	}
	for _, p := range o.GetParts() {
		if err := checkLine(at+".parts", p, maxShort); err != nil {
			return err
		}
	}
	for _, f := range o.GetLimitsFuel() {
		if err := checkLine(at+".limits_fuel", f, maxShort); err != nil {
			return err
		}
	}
	return checkNumbers(at+".numbers", o.GetNumbers())
}

// setDetails puts what people say of a job into it; without a car it gets a new one.
func (c *change) setDetails(j *recordv1.Job, o *recordv1.JobDetails) {
	j.DetailsCar, j.DetailsBy, j.Latest = o.GetCar(), uint32(c.entry), uint32(c.entry)
	if o.GetCar() == 0 {
		c.head.Cars++
		j.DetailsCar = c.head.Cars
	}
	j.Plate, j.Frame, j.Note = shut(o.GetPlate()), shut(o.GetFrame()), shut(o.GetNote())
	j.Limits, j.LimitsFuel, j.Fuel = o.GetLimits(), o.GetLimitsFuel(), o.GetFuel()
	j.Parts, j.Numbers = o.GetParts(), o.GetNumbers()
}

// latestOf is the target of what acts on a job as a whole: its latest entry.
func latestOf(name string) func(*State, *recordv1.Action) (uint64, error) {
	return func(s *State, a *recordv1.Action) (uint64, error) {
		j, err := s.jobAt(name+".job", JobOf(a))
		return uint64(j.GetLatest()), err
	}
}
