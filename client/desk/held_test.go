package desk

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"witnessmark/client"
)

// steady is a run at one engine speed and pressure; where it knocks, knock control takes 9 deg back for three samples of nine.
func (w *world) steady(speed, pressure int, knocks bool) string {
	w.Helper()
	var b strings.Builder
	b.WriteString("time [s],engine_speed [1/min],cylinder_filling [%],intake_temperature [Cel],coolant_temperature [Cel],pedal_position [%],manifold_pressure [kPa],ignition_advance [deg],lambda [1],knock_retard [deg]\n")
	for i := range 9 {
		advance, retard := "12.5", "0"
		if knocks && i/3 == 1 {
			advance, retard = "3.5", "9"
		}
		fmt.Fprintf(&b, "0.%d,%d,140,32,88,100,%d,%s,0.93,%s\n", i, speed, pressure, advance, retard)
	}
	w.must(os.WriteFile(w.path("run.csv"), []byte(b.String()), 0o600))
	return w.path("run.csv")
}

// TestTheCardSaysWhatIsInTheCarAndWhatARunShowed: what a run showed stands on the card, with the runs, and on the sheet of what was in the car;
// danger after a change is an alarm on the tray. Once something else is in the car, the card says how far that is from as found.
// Of a car that was never read neither is told.
func TestTheCardSaysWhatIsInTheCarAndWhatARunShowed(t *testing.T) {
	w := collectedWorld(t)
	b := w.inside(w.lead.desk)
	b.hides("/job/1", "From as found")
	// 198 kPa lie inside the axis of wastegate.duty, which ends at 200; the submission asks for more than 1 % more there.
	_, err := w.technician.client.AddRun(ctx, 1, w.steady(4500, 198, false), "", "before")
	w.must(err)
	w.must(w.lead.client.Sync(ctx))
	b.shows("/sheet/1.1", "Where the new boost target leads", "run 1 (before): with the candidate's boost.request this run would come to manifold pressure ")
	_, err = w.technician.client.Readback(ctx, 1, w.demo("readback.bin"), "")
	w.must(err)
	_, err = w.technician.client.AddRun(ctx, 1, w.steady(3000, 179, true), "", "after")
	w.must(err)
	w.must(w.lead.client.Sync(ctx))
	took := "nock control took back 9.0 deg"
	b.shows("/", "run 2, held against the map in the car, shows danger", "1.run2")
	b.shows("/job/1", `<a href="/sheet/1.1/table/ignition.98">ignition.98</a> 18 of 252 cells`, `<span class="verdict v-danger">danger</span> <a href="/job/1/runs#held">Against the map</a>: K`+took)
	b.shows("/job/1/runs", `<h3>run 2 (after) <span class="verdict v-danger">danger</span></h3>`, took, `<th scope="row">advance.plug</th><td>ignition advance</td>`)
	b.shows("/sheet/1.1", "run 2 (after)</a>, with 1.1 in the car: K"+took)

	_, err = w.technician.client.OpenJob(ctx, client.NewJob{Definition: "dx1-1.8t", Details: client.Details{Plate: "HC 9", Limits: "dx1-road-98", Fuel: "98 RON", Car: client.AnotherCar}})
	w.must(err)
	_, err = w.technician.client.AddRun(ctx, 2, w.steady(3000, 179, true), "", "before")
	w.must(err)
	w.must(w.lead.client.Sync(ctx))
	b.shows("/job/2", "Not held against the map: what was in the car was not known.")
	b.hides("/job/2", "From as found")

	// What is found in a car was submitted by nobody: it is shown, and not judged.
	_, err = w.technician.client.Readback(ctx, 1, w.demo("submission-1.bin"), "")
	w.must(err)
	w.must(w.lead.client.Sync(ctx))
	b.shows("/report/1.back2", "What was found in the controller, against what was written.", "Tables that differ", `href="/report/1.back2/table/boost.target"`)
	b.hides("/report/1.back2", "Findings, worst first", "v-danger")
	b.hides("/report/1.back2/table/boost.target", "v-danger")
}
