package reckon

import (
	"fmt"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// Duty is how much of the time an injector is open: pulse width in ms, engine speed in 1/min, ceiling in %.
type Duty struct{ Width, Speed, Ceiling float64 }

// Reckon is the duty with one injection in two turns, and what the ceiling leaves.
func (d Duty) Reckon() (*calibrationv1.Reckoning, error) {
	inputs, err := check([]bound{{"pulse_width", d.Width, "ms", 0, 1000}, {"engine_speed", d.Speed, "1/min", 1, 30000}, {"ceiling", d.Ceiling, "%", 1, 100}})
	if err != nil {
		return nil, fmt.Errorf("duty: %w", err)
	}
	duty := d.Width * d.Speed / 1200
	r := &calibrationv1.Reckoning{Kind: "duty", Inputs: inputs,
		Results: []*calibrationv1.Quantity{
			quantity("duty", duty, "%"), quantity("margin", d.Ceiling-duty, "%"),
			quantity("pulse_width_at_ceiling", d.Ceiling*1200/d.Speed, "ms"), quantity("engine_speed_at_ceiling", 1200*d.Ceiling/max(d.Width, 1e-3), "1/min"),
		},
		Formula:     "duty = pulse_width * engine_speed / 2; all of the time is two turns",
		Assumptions: []string{"four-stroke, one injection in two turns", "the pulse width is the electrical one, opening time included"},
		Source:      "geometry; the ceiling is common practice (80 to 85 %), no standard found",
	}
	if duty > d.Ceiling {
		r.Remarks = append(r.Remarks, tooMuchDuty(duty, d.Ceiling))
	}
	return r, nil
}

func tooMuchDuty(duty, ceiling float64) string {
	return fmt.Sprintf("a duty of %.1f %% is above the ceiling of %g %%: the mixture goes lean where the injectors run out, and lean under boost destroys engines", duty, ceiling)
}
