package outcome

import (
	"encoding/json"

	"witnessmark/tables/run"
)

// summary is the outcome as JSON: torque in N.m, power in kW, engine speed in 1/min, areas as
// their unit says, whatever --units says.
type summary struct {
	Job       uint32       `json:"job"`
	Car       uint32       `json:"car"`
	Plate     string       `json:"plate"`
	Runs      []runSummary `json:"runs"`
	Corrected string       `json:"corrected"`
	Gain      *gainJSON    `json:"gain,omitempty"`
	NoGain    string       `json:"no_gain,omitempty"`
	Changed   []Changed    `json:"changed"`
	About     string       `json:"about"`
	InCar     string       `json:"in_car"`
	Notes     []string     `json:"notes"`
	Cautions  []string     `json:"cautions"`
}

type runSummary struct {
	Name    string   `json:"name"`
	When    string   `json:"when"`
	About   string   `json:"about"`
	Remarks []string `json:"remarks"`
}

// JSON is the outcome for programs.
func (o *Outcome) JSON() ([]byte, error) {
	s := summary{Job: o.Job.GetNumber(), Car: o.Job.GetCar(), Plate: o.Plate(), Corrected: o.Corrected, Gain: gainOf(o.Gain), NoGain: o.NoGain,
		Changed: o.Changed, About: o.About, InCar: o.InCar, Notes: o.Notes, Cautions: Cautions}
	for _, m := range o.Runs {
		r := runSummary{Name: m.Name, When: m.When, About: m.About()}
		for _, k := range m.Remarks {
			r.Remarks = append(r.Remarks, k.Text)
		}
		s.Runs = append(s.Runs, r)
	}
	b, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return nil, err
	}
	return append(b, '\n'), nil
}

// gainJSON is a gain; speeds are in 1/min, and an amount says its own unit.
type gainJSON struct {
	Place       string        `json:"place"`
	Correction  string        `json:"correction"`
	RunsBefore  int           `json:"runs_before"`
	RunsAfter   int           `json:"runs_after"`
	SpreadKnown bool          `json:"spread_known"`
	Low         float64       `json:"low"`
	High        float64       `json:"high"`
	PeakTorque  amountJSON    `json:"peak_torque"`
	PeakPower   amountJSON    `json:"peak_power"`
	MeanTorque  amountJSON    `json:"mean_torque"`
	MeanPower   amountJSON    `json:"mean_power"`
	AreaTorque  amountJSON    `json:"area_torque"`
	AreaPower   amountJSON    `json:"area_power"`
	Points      []gainAtSpeed `json:"points"`
	Verdict     string        `json:"verdict"`
}

type amountJSON struct {
	Before      float64 `json:"before"`
	After       float64 `json:"after"`
	Gain        float64 `json:"gain"`
	Unit        string  `json:"unit"`
	SpeedBefore float64 `json:"speed_before,omitempty"`
	SpeedAfter  float64 `json:"speed_after,omitempty"`
	Spread      float64 `json:"spread"`
	Shown       bool    `json:"shown"`
}

type gainAtSpeed struct {
	Speed  float64 `json:"speed"`
	Torque float64 `json:"torque"`
	Power  float64 `json:"power"`
	Shown  bool    `json:"shown"`
}

func gainOf(g *run.Gain) *gainJSON {
	if g == nil {
		return nil
	}
	amount := func(a run.Amount) amountJSON {
		return amountJSON{a.Before, a.After, a.Gain, a.Unit, a.SpeedBefore, a.SpeedAfter, a.Spread, a.Shown}
	}
	out := &gainJSON{Place: string(g.Place), Correction: string(g.Correction), RunsBefore: g.RunsBefore, RunsAfter: g.RunsAfter,
		SpreadKnown: g.SpreadKnown, Low: g.Low, High: g.High, PeakTorque: amount(g.PeakTorque), PeakPower: amount(g.PeakPower),
		MeanTorque: amount(g.MeanTorque), MeanPower: amount(g.MeanPower), AreaTorque: amount(g.AreaTorque), AreaPower: amount(g.AreaPower), Verdict: g.Verdict}
	for _, p := range g.Points {
		out.Points = append(out.Points, gainAtSpeed{p.Speed, p.Torque, p.Power, p.Shown})
	}
	return out
}
