package main

import (
	"bytes"
	"fmt"
	"os"
	"strconv"

	"github.com/rogpeppe/go-internal/testscript"
)

// writePull writes a run: 10 s at 50 Hz, engine speed rising evenly, the filling with it, and
// torque that is the same everywhere but for a ripple of 1 N.m.
func writePull(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 || len(args) > 3 {
		ts.Fatalf("usage: pull FILE NM [CHANNEL]")
	}
	torque, err := strconv.ParseFloat(args[1], 64)
	ts.Check(err)
	channel := "torque [N.m]"
	if len(args) == 3 {
		channel = args[2]
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), pulled(torque, channel), 0o644))
}

func pulled(torque float64, channel string) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "time [s],engine_speed [1/min],cylinder_filling [%%],pedal_position [%%],%s\n", channel)
	for i := range 501 {
		t := float64(i) / 50
		fmt.Fprintf(&b, "%.2f,%.1f,%.2f,100,%.1f\n", t, 1500+500*t, 100+6*t, torque+float64(i%3-1))
	}
	return b.Bytes()
}
