package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"witnessmark/tables/definition"
)

// The committed files are what the generator makes.
func TestCommittedFilesAreGenerated(t *testing.T) {
	folder := ".."
	file, err := os.ReadFile(filepath.Join(folder, "dx1-1.8t.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	lay, err := definition.Load("dx1-1.8t.yaml", file)
	if err != nil {
		t.Fatal(err)
	}
	files, err := build(lay)
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range files {
		got, err := os.ReadFile(filepath.Join(folder, name))
		if err != nil {
			t.Error(err)
			continue
		}
		if i := firstDifference(got, want); i >= 0 {
			t.Errorf("%s differs from what the generator makes at offset %#x; run go run ./testdata/demo/generate", name, i)
		}
	}
}

func firstDifference(a, b []byte) int {
	if bytes.Equal(a, b) {
		return -1
	}
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return i
		}
	}
	return min(len(a), len(b))
}

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
