package demo

import "testing"

// The shapes that an engine has, whatever the numbers: stated here apart from the formulas.
func TestFormulasHaveAnEnginesShape(t *testing.T) {
	rising := func(what string, points []float64, f func(float64) float64) {
		for i := 1; i < len(points); i++ {
			if f(points[i]) < f(points[i-1]) {
				t.Errorf("%s falls from %v to %v", what, points[i-1], points[i])
			}
		}
	}
	falling := func(what string, points []float64, f func(float64) float64) {
		rising(what, points, func(v float64) float64 { return -f(v) })
	}
	rpm, load, pedal := breakpoints["rpm16"], breakpoints["load12"], breakpoints["pedal10"]
	for _, id := range []string{"ignition.base", "ignition.98"} {
		for _, l := range load {
			rising(id+" along speed", rpm, func(v float64) float64 { return formulas[id](v, l) })
		}
	}
	for _, n := range rpm {
		falling("ignition.base along load", load, func(v float64) float64 { return formulas["ignition.base"](n, v) })
		falling("lambda.target along load", load, func(v float64) float64 { return formulas["lambda.target"](n, v) })
		rising("boost.target along pedal", pedal, func(v float64) float64 { return formulas["boost.target"](n, v) })
		rising("pedal.map along pedal", pedal, func(v float64) float64 { return formulas["pedal.map"](n, v) })
	}
	rising("airflow.transfer", breakpoints["airflow.transfer.volts"], func(v float64) float64 { return formulas["airflow.transfer"](v, 0) })
	falling("injector.deadtime", breakpoints["battery6"], func(v float64) float64 { return formulas["injector.deadtime"](v, 0) })
	falling("fuel.cranking", breakpoints["coolant8"], func(v float64) float64 { return formulas["fuel.cranking"](v, 0) })
}
