package outcome

import (
	"encoding/json"

	"witnessmark/client"
)

// summary is the outcome as JSON: torque in N.m, power in kW, engine speed in 1/min, whatever --units
// says. The gain is what run gain answers.
type summary struct {
	Job       uint32          `json:"job"`
	Car       uint32          `json:"car"`
	Plate     string          `json:"plate"`
	Runs      []runSummary    `json:"runs"`
	Corrected string          `json:"corrected"`
	Gain      json.RawMessage `json:"gain,omitempty"`
	NoGain    string          `json:"no_gain,omitempty"`
	Changed   []Changed       `json:"changed"`
	About     string          `json:"about"`
	InCar     string          `json:"in_car"`
	Notes     []string        `json:"notes"`
	Cautions  []string        `json:"cautions"`
}

type runSummary struct {
	Name    string   `json:"name"`
	When    string   `json:"when"`
	About   string   `json:"about"`
	Remarks []string `json:"remarks"`
}

// JSON is the outcome for programs.
func (o *Outcome) JSON() ([]byte, error) {
	s := summary{Job: o.Job.GetNumber(), Car: o.Job.GetCar(), Plate: o.Plate(), Corrected: o.Corrected, NoGain: o.NoGain,
		Changed: o.Changed, About: o.About, InCar: o.InCar, Notes: o.Notes, Cautions: Cautions}
	var err error
	if o.Gain != nil {
		if s.Gain, err = client.JSON(o.Gain.RunGain); err != nil {
			return nil, err
		}
	}
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
