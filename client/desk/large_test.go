package desk

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"witnessmark/client"
)

const (
	manyMaps = 200
	side     = 24
)

// many is a definition of 200 maps of 24 by 24, limits that look at each, and an image.
func many() (definition, limits string, image []byte) {
	var d, l strings.Builder
	size := manyMaps * side * side
	fmt.Fprintf(&d, "name: many\ntitle: Many maps\nbyte_order: big\nimage: {start: 0x0, size: 0x%x, segments: [{start: 0x0, end: 0x%x, content: calibration}]}\ntables:\n", size, size)
	points := func(step int) string {
		out := make([]string, side)
		for i := range out {
			out[i] = fmt.Sprint((i + 1) * step)
		}
		return strings.Join(out, ", ")
	}
	var names []string
	for i := range manyMaps {
		names = append(names, fmt.Sprintf("map.%03d", i))
		fmt.Fprintf(&d, "  - id: %s\n    quantity: ignition_advance\n    unit: deg\n    stored: {address: 0x%x, type: u8}\n"+
			"    x: {id: %[1]s.rpm, quantity: engine_speed, unit: 1/min, points: [%[3]s]}\n    y: {id: %[1]s.load, quantity: relative_load, unit: \"%%\", points: [%[4]s]}\n",
			names[i], i*side*side, points(300), points(8))
	}
	fmt.Fprintf(&l, "name: many-98\ntitle: Many\napplies_to: [many]\nrules:\n  - {id: ceiling, severity: warning, select: {tables: [%s]}, range: {unit: deg, min: 0, max: 40}, reason: knock, source: common practice}\n", strings.Join(names, ", "))
	return d.String(), l.String(), make([]byte, size)
}

// TestVerdictComesFirst measures how long a sheet of 200 changed maps takes until its verdict and
// its findings are there, and that the pictures come later, as they are reached.
func TestVerdictComesFirst(t *testing.T) {
	looks(t)
	w := newWorld(t)
	definition, limits, image := many()
	for name, body := range map[string]string{"many.yaml": definition, "many-limits.yaml": limits, "many.bin": string(image)} {
		w.must(os.WriteFile(w.path(name), []byte(body), 0o600))
	}
	_, _, err := w.lead.client.AddDocument(ctx, client.Definitions, w.path("many.yaml"))
	w.must(err)
	_, _, err = w.lead.client.AddDocument(ctx, client.Limits, w.path("many-limits.yaml"))
	w.must(err)
	_, err = w.technician.client.OpenJob(ctx, client.NewJob{Definition: "many", Details: client.Details{Plate: "HC 18", Limits: "many-98"}})
	w.must(err)
	_, _, err = w.technician.client.AddRead(ctx, client.NewRead{Job: 1, Path: w.path("many.bin")})
	w.must(err)
	for i := range image {
		image[i] = byte(10 + i%37)
	}
	for i := range manyMaps {
		image[i*side*side+7] = 50 // one cell of each lies above the ceiling
	}
	w.must(os.WriteFile(w.path("many.bin"), image, 0o600))
	_, _, err = w.calibrator.client.Submit(ctx, client.NewSubmission{Job: 1, Path: w.path("many.bin"), Note: "all of them"})
	w.must(err)
	b := w.opens(w.lead)
	b.do(chromedp.EmulateViewport(1280, 900))
	start := time.Now()
	b.goes("/sheet/1.1")
	took := time.Since(start)
	page := eval[string](b, `document.body.innerText`)
	if !strings.Contains(page, "Findings, worst first") || strings.Count(page, "ceiling") < manyMaps {
		t.Fatalf("findings are missing: %d", strings.Count(page, "ceiling"))
	}
	size := eval[int](b, `performance.getEntriesByType("navigation")[0].encodedBodySize`)
	later := eval[int](b, `document.querySelectorAll("[data-fragment]").length`)
	t.Logf("%d maps of %d by %d, all changed: verdict and findings after %s, %d bytes; %d pictures still to come", manyMaps, side, side, took.Round(time.Millisecond), size, later)
	if later < manyMaps/2 {
		t.Errorf("only %d of %d pictures waited", later, manyMaps)
	}
	eval[bool](b, `(document.querySelector(".card:last-child").scrollIntoView(), true)`)
	b.until("the last picture, which was reached", `!document.querySelector(".card:last-child").hasAttribute("data-fragment")`)
	for name, path := range map[string]string{"many": "/sheet/1.1", "many-table": "/sheet/1.1/table/map.100", "many-submit": "/job/1/submit"} {
		b.goes(path)
		b.measure(name)
	}
}
