package view

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
)

const signalDefinition = `name: car
byte_order: big
image: {start: 0x0, size: 0x10, segments: [{start: 0x0, end: 0x10, content: calibration}]}
tables:
  - {id: first, quantity: ignition_advance, unit: deg, stored: {address: 0, type: u8}, x: {quantity: engine_speed, unit: 1/min, points: [1000, 3000]}}
  - {id: second, quantity: gain, unit: "1", stored: {address: 2, type: u8}, x: {quantity: engine_speed, unit: 1/min, points: [1000, 3000]}}
signals:
  - {id: plug, title: Advance at the plug, quantity: ignition_advance, unit: deg, step: 1, value: "table('first') * table('second')"}
inputs:
  - {quantity: engine_speed, unit: 1/min, from: 1000, to: 3000}
`

const signalLimits = `name: car
rules:
  - {id: ceiling, severity: warning, select: {signals: [plug]}, reason: Knock., source: common practice, range: {unit: deg, max: 100}}
`

// By hand: first goes from 10 to 30 and second from 2 to 4, so the signal is 20 at 1000 1/min, 20·3 = 60
// at 2000, where a straight line would be at 70, and 120 at 3000, where 100 is allowed.
func TestASignalIsDrawnAsItCurves(t *testing.T) {
	lay, err := definition.Load("car.yaml", []byte(signalDefinition))
	if err != nil {
		t.Fatal(err)
	}
	lim, err := limits.Load("limits.yaml", []byte(signalLimits))
	if err != nil {
		t.Fatal(err)
	}
	base, cand := make([]byte, 16), make([]byte, 16)
	copy(base, []byte{10, 20, 2, 4})
	copy(cand, []byte{10, 30, 2, 4})
	r, err := compare.Compare(compare.Input{Base: image.Whole(0, base), Candidate: image.Whole(0, cand), Layout: lay, Limits: lim})
	if err != nil {
		t.Fatal(err)
	}
	c := &Comparison{Report: r, Layout: lay, Limits: lim, Base: base, Candidate: cand}
	if len(r.GetSignals()) != 1 {
		t.Fatalf("the report has %v", r.GetSignals())
	}
	card := string(c.Signal(r.GetSignals()[0], nowhere, func(id string) string { return "/t/" + id + hostile }))
	for _, want := range []string{`id="signal-plug"`, `v-warning">warning`, "found 120 deg, allowed 100 deg, beyond by 20 deg, at engine speed 3000 1/min",
		"moved by at least 0 deg at engine speed 1000 1/min<", "moved by at most +40 deg at engine speed 3000 1/min<", `href="/t/first`, "first</a>, which changed; second.", "Not yet seen on an engine", " limit <svg", " worst point"} {
		if !strings.Contains(card, want) {
			t.Errorf("the card lacks %q:\n%s", want, card)
		}
	}
	if strings.Contains(card, "<script>") || strings.Contains(card, "NaN") {
		t.Errorf("the card holds what it must not: %s", card)
	}
	path := regexp.MustCompile(`<path class="line cand" d="M([^"]+)"`).FindStringSubmatch(card)
	if path == nil {
		t.Fatalf("no curve in %s", card)
	}
	var ys []float64
	for _, p := range strings.Split(path[1], "L") {
		y, err := strconv.ParseFloat(strings.Fields(p)[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		ys = append(ys, y)
	}
	// The scale's round ends lie beyond 20 and 120, so 100 is drawn 80 hundredths of the way between those.
	limit := regexp.MustCompile(`<path class="limit" d="M74.0 ([0-9.]+)L622.0 ([0-9.]+)"/><circle class="ring" cx="622.0" cy="([0-9.]+)"`).FindStringSubmatch(card)
	if limit == nil {
		t.Fatalf("no line across at the limit, or no worst point at its end: %s", card)
	}
	for i, want := range []float64{ys[0] + .8*(ys[len(ys)-1]-ys[0]), ys[0] + .8*(ys[len(ys)-1]-ys[0]), ys[len(ys)-1]} {
		if y, err := strconv.ParseFloat(limit[i+1], 64); err != nil || math.Abs(y-want) > .2 {
			t.Errorf("the limit's ends and the worst point are at %v; want %.1f in place %d", limit[1:], want, i)
		}
	}
	middle, low, high := ys[len(ys)/2], ys[0], ys[len(ys)-1]
	if want := low + (60.0-20)/(120-20)*(high-low); math.Abs(middle-want) > .2 {
		t.Errorf("at 2000 1/min the curve is at %.1f of %.1f to %.1f; want %.1f", middle, low, high, want)
	}
}

// An image that is not there, or a signal that the definition lacks, leaves words.
func TestASignalWithoutPicture(t *testing.T) {
	lay, err := definition.Load("car.yaml", []byte(signalDefinition))
	if err != nil {
		t.Fatal(err)
	}
	for _, id := range []string{"plug", "none"} {
		r := &calibrationv1.SignalReport{Id: id, DependsOn: []string{"first"}, Delta: &calibrationv1.SignalDelta{Max: 1}}
		card := string((&Comparison{Report: &calibrationv1.Report{}, Layout: lay}).Signal(r, nowhere, func(string) string { return "" }))
		if !strings.Contains(card, "no limit looks at it") || strings.Contains(card, "<svg") {
			t.Errorf("%s: %s", id, card)
		}
	}
}
