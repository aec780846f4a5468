// Package outcome sums a job up for the customer: what the car did before and after, what was
// changed and who signed it, and what is in the car now; as text, and as a page that prints.
package outcome

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"witnessmark/client"
	"witnessmark/client/sheet"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/definition"
	"witnessmark/tables/run"
)

// Input is everything that an outcome is made of.
type Input struct {
	Job        *recordv1.Job
	Runs       []*client.RecordedRun
	Review     *client.Review     // of the submission that the outcome is about; nil where there is none
	Layout     *definition.Layout // the job's definition
	Correction run.Standard
	Anyway     bool // correct outside the standard's range, and mark it
	Units      Units
	Place      run.Place // where a run has torque at both
	Low, High  float64   // 1/min, the band of the means; 0 and 0 the whole common range
}

// Outcome is what a job came to.
type Outcome struct {
	Job     *recordv1.Job
	Runs    []*Measured // before-runs first
	Gain    *Gain       // nil where the two sides cannot be compared
	NoGain  string      // why not
	Changed []Changed
	About   string   // the submission, its author and who signed it; or that there is none
	InCar   string   // what the ledger says is in the car
	Notes   []string // what has to be said about the comparison and the correction
	Units   Units
	// What the correction was: said on every page, never silent.
	Corrected string
}

// Measured is one sweep of a run and what was made of it.
type Measured struct {
	Name    string
	When    string // before or after
	Map     string // what was in the car; empty where nobody said
	Other   bool   // after the change, and of another map than the outcome is about: it is not compared
	Run     *run.Run
	Sweep   run.Sweep
	Curve   *run.Curve // nil where none could be made
	Why     string     // why not
	Remarks []run.Remark
	pull    *run.Pull
}

// Changed is one table that differs from the read as found.
type Changed struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	What  string `json:"what"`
}

// Make works the outcome out. It fails only where the job has no runs at all.
func Make(in Input) (*Outcome, error) {
	if len(in.Runs) == 0 {
		return nil, fmt.Errorf("job %d has no runs: there is nothing to show yet", in.Job.GetNumber())
	}
	o := &Outcome{Job: in.Job, Units: in.Units, InCar: inCar(in.Job)}
	about := ""
	if in.Review != nil {
		about = client.Name(in.Review.Submission)
	}
	o.measured(in, about)
	slices.SortStableFunc(o.Runs, func(a, b *Measured) int { return strings.Compare(b.When, a.When) })
	o.compare(in)
	o.changed(in)
	o.notes()
	return o, nil
}

// measured takes the runs in, of which those after the change count that are of the map that the outcome is about.
func (o *Outcome) measured(in Input, about string) {
	var order, others int
	for _, r := range in.Runs {
		of := MapOf(in.Job, r.Entry)
		name, err := record.ParseName(of) // what is no submission was presumed against what somebody says: after the change
		other := r.Entry.GetWhen() == "after" && err == nil && name.Part == record.ASubmission && about != "" && of != about
		if other {
			others++
		}
		for _, m := range measure(r, in) {
			m.Map, m.Other = of, other
			if order++; m.pull != nil {
				m.pull.Order = order
			}
			o.Runs = append(o.Runs, m)
		}
	}
	if others > 0 {
		o.note(fmt.Sprintf("%d of the runs after the change are of other maps than %s, and are not compared.", others, about))
	}
}

// measure makes the curve of every sweep of a run.
func measure(r *client.RecordedRun, in Input) []*Measured {
	name := client.RunName(r.Entry)
	sweeps, err := run.FindSweeps(r.Run)
	if err != nil {
		return []*Measured{{Name: name, When: r.Entry.GetWhen(), Run: r.Run, Why: err.Error()}}
	}
	o := run.Options{Place: in.Place, Correction: in.Correction, Anyway: in.Anyway, Forced: client.ForcedInduction(in.Layout)}
	var out []*Measured
	for i, s := range sweeps {
		m := &Measured{Name: run.SweepName(name, i+1, len(sweeps)), When: r.Entry.GetWhen(), Run: r.Run, Sweep: s}
		if m.pull, err = run.MakePull(r.Run, s, o); err != nil {
			m.Why = err.Error()
		} else {
			m.pull.Name, m.Curve = m.Name, m.pull.Curve
			m.Remarks = run.Quality(r.Run, s, m.Curve)
		}
		out = append(out, m)
	}
	return out
}

// compare sets the two sides against each other.
func (o *Outcome) compare(in Input) {
	var sides [2][]*run.Pull
	for _, m := range o.Runs {
		switch {
		case m.pull == nil, m.Other:
		case m.When == "before":
			sides[0] = append(sides[0], m.pull)
		default:
			sides[1] = append(sides[1], m.pull)
		}
	}
	if len(sides[0]) == 0 || len(sides[1]) == 0 {
		o.NoGain = fmt.Sprintf("nothing to compare: %d before-runs and %d after-runs have a curve", len(sides[0]), len(sides[1]))
		return
	}
	g, err := run.Gained(sides[0], sides[1], in.Low, in.High)
	if err != nil {
		o.NoGain = err.Error()
		return
	}
	o.Gain = NewGain(g, in.Units)
	for _, r := range g.GetRemarks() {
		o.note(spelled(r.GetText()))
	}
}

// side is the curves of the runs before, or after.
func (o *Outcome) side(when string) []*run.Curve {
	var out []*run.Curve
	for _, m := range o.Runs {
		if m.When == when && m.Curve != nil && !m.Other {
			out = append(out, m.Curve)
		}
	}
	return out
}

// changed says what the submission changed, and who answers for it.
func (o *Outcome) changed(in Input) {
	if in.Review == nil {
		o.About = "No submission of this job was released: nothing was changed by it."
		return
	}
	s := in.Review.Submission
	o.About = fmt.Sprintf("Submission %s by %s: %s.", client.Name(s), s.GetSubmitted().GetPerson(), shortened(oneLine(sheet.Sealed(s.GetNote()))))
	switch y := client.YesTo(in.Review.Job, s); {
	case s.GetVoided():
		o.About += " The yes to it was voided: a key that it rests on was compromised."
	case y == nil:
		o.About += " Nobody has signed it off."
	default:
		o.About += yesText(y, s.GetJudgement().GetVerdict())
	}
	o.Changed = ChangedIn(in.Review.Report, in.Review.Layout())
}

// mostBounds keeps a corridor from filling the page.
const mostBounds = 6

// yesText is who answers for the submission, and of a corridor what it allowed.
func yesText(y *client.Yes, verdict string) string {
	text := fmt.Sprintf(" Signed off by %s, %s; verdict %s.", y.By.GetPerson(), when(y.By), verdict)
	if y.Corridor != nil {
		asked := y.Corridor.GetAsked()
		text = fmt.Sprintf(" Released by %s; verdict %s. The corridor allowed a verdict of at most %s, and %s.",
			strings.TrimPrefix(y.InAdvance(when(y.By)), "released by "), verdict, asked.GetMost(), strings.Join(client.SomeTables(client.Bounds(asked), mostBounds), "; "))
		if y.Reason != "" && !y.ByAuthor {
			text += " Because: " + oneLine(y.Reason) + "."
		}
	}
	if y.ByAuthor {
		text += " That is its author: " + oneLine(y.Reason) + "."
	}
	return text
}

// ChangedIn are the tables that a report says differ.
func ChangedIn(r *calibrationv1.Report, lay *definition.Layout) []Changed {
	out := []Changed{}
	for _, t := range r.GetTables() {
		out = append(out, changedTable(t, lay))
	}
	return out
}

func changedTable(t *calibrationv1.TableReport, lay *definition.Layout) Changed {
	c := Changed{ID: t.GetId(), What: fmt.Sprintf("%d of %d cells", t.GetChanged(), t.GetCells())}
	if def := lay.ByID[t.GetId()]; def != nil {
		c.Title = def.Title
	}
	if d := t.GetDelta(); d != nil {
		unit := t.GetUnit()
		if unit == "1" {
			unit = ""
		}
		by := fmt.Sprintf("%+.4g", d.GetMin())
		if to := fmt.Sprintf("%+.4g", d.GetMax()); to != by {
			by += " to " + to
		}
		c.What += strings.TrimRight(", "+by+" "+unit, " ")
	}
	if t.GetAxesChanged() {
		c.What += "; breakpoints too"
	}
	return c
}

// inCar is what the ledger knows about this car's controller.
func inCar(j *recordv1.Job) string {
	in := j.GetInCar()
	if in == nil {
		return "The ledger does not say what is in the car."
	}
	if !in.GetKnown() {
		return fmt.Sprintf("What is in the car is not known: read back, it was not what had been written (%s, %s).", in.GetSince().GetPerson(), when(in.GetSince()))
	}
	what := fmt.Sprintf("submission %d.%d", in.GetJob(), in.GetSubmission())
	if in.GetSubmission() == 0 {
		what = fmt.Sprintf("the read as found of job %d", in.GetJob())
	}
	return fmt.Sprintf("In the car is %s, known by: %s (%s, %s).", what, in.GetKnownBy(), in.GetSince().GetPerson(), when(in.GetSince()))
}

// notes gathers what the correction has to say, each once, and says what was applied.
func (o *Outcome) notes() {
	o.Corrected = "Not corrected for the weather."
	for _, m := range o.Runs {
		if m.Curve == nil {
			continue
		}
		c := m.Curve.Correction
		for _, n := range c.Notes {
			o.note(n)
		}
		if c.Standard != run.None && c.Standard != "" {
			o.Corrected = "Corrected by " + strings.TrimRight(c.Title, ".") + "; each run's factor stands beside it, with what it is good to and the range that the standard allows."
		}
	}
}

// corrected says by how much a run was corrected, at which weather, and whether the standard allows it.
func (m *Measured) corrected() string {
	c := m.Curve.Correction
	if c.Standard == run.None || c.Standard == "" {
		return ""
	}
	s := fmt.Sprintf(", × %.4f ± %.4f (%.2f to %.2f)", c.Factor, c.PlusMinus, c.Low, c.High)
	if w := c.Weather; w != nil {
		s += fmt.Sprintf(" at %.1f kPa, %.1f °C", w.Pressure, w.Temperature)
		if w.Humidity != nil {
			s += fmt.Sprintf(", %.0f %% humidity", 100**w.Humidity)
		}
	}
	if c.OutOfRange {
		s += "; OUTSIDE the standard's range, corrected because it was asked for: " + c.Why
	}
	return s
}

// when is the time of an event as people write it; what cannot be read is shown as it is.
func when(e *recordv1.Event) string {
	t, err := time.Parse(time.RFC3339, e.GetSignedAt())
	if err != nil {
		return e.GetSignedAt()
	}
	return t.UTC().Format("2 Jan 2006, 15:04") + " UTC"
}

func (o *Outcome) note(s string) {
	if s != "" && !slices.Contains(o.Notes, s) {
		o.Notes = append(o.Notes, s)
	}
}

// oneLine keeps what a person wrote to one line, without a stop at its end.
func oneLine(s string) string { return strings.TrimRight(strings.Join(strings.Fields(s), " "), ". ") }

// Cautions are said on every outcome.
var Cautions = []string{
	"These are results of one car on one rolling road on one day; another road, tyre, temperature or fuel gives others.",
	"More torque loads the clutch, gearbox, brakes, tyres and cooling more. Use the fuel that this job names: with a lower octane number the engine may knock and be damaged.",
	"Whether a changed car may be driven on the road, and what must be inspected, entered in its papers or insured, is for local law and licensed practice to say. Ask before driving on the road.",
}

// Subject is the submission that an outcome is about: the one in the car, else the one that can
// be collected, else none (0).
func Subject(j *recordv1.Job) uint32 {
	if in := j.GetInCar(); in.GetJob() == j.GetNumber() && in.GetSubmission() != 0 {
		return in.GetSubmission()
	}
	if j.GetInCar().GetJob() == j.GetNumber() && len(j.GetReadBacks()) > 0 {
		return 0 // the read as found went back in
	}
	for _, s := range slices.Backward(j.GetSubmissions()) {
		if record.IsRelease(s) {
			return s.GetNumber()
		}
	}
	return 0
}

// Plate is what the car is called.
func (o *Outcome) Plate() string { return sheet.Sealed(o.Job.GetPlate()) }

// shortened keeps a note from filling the page.
func shortened(s string) string {
	const most = 280
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}
