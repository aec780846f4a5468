package definition

import (
	"fmt"
	"runtime"
	"strings"
	"testing"
	"time"

	"go.yaml.in/yaml/v3"
)

// many is a file of n maps and an axis that they share.
func many(n int) []byte {
	var file strings.Builder
	file.WriteString("name: many\nbyte_order: big\nimage: {size: 0x4000000}\naxes:\n  - {id: rpm, quantity: n, unit: 1/min, stored: {address: 0, type: u16, count: 16}}\ntables:\n")
	for i := range n {
		fmt.Fprintf(&file, "  - {id: t%d, quantity: q, unit: deg, stored: {address: %d, type: s8}, conversion: {factor: 0.75, offset: -24}, x: {axis: rpm}, y: {quantity: f, unit: '%%', points: [1, 2, 3, 4, 5, 6]}}\n", i, 100+100*i)
	}
	return []byte(file.String())
}

// BenchmarkLoad says how long loading takes beside what the YAML library takes to read the same bytes, each the fastest of
// several turns: 10,000 maps are far more than a controller has.
func BenchmarkLoad(b *testing.B) {
	for _, n := range []int{2500, 10000, 35000} {
		file := many(n)
		b.Run(fmt.Sprint("tables=", n), func(b *testing.B) {
			bare, load := time.Duration(never), time.Duration(never)
			for b.Loop() {
				bare = min(bare, took(b, func() error { return yaml.Unmarshal(file, new(yaml.Node)) }))
				load = min(load, took(b, func() error { _, err := Load("many", file); return err }))
			}
			b.ReportMetric(load.Seconds()/bare.Seconds(), "x-bare-parse")
			b.ReportMetric(float64(load.Nanoseconds())/float64(n), "ns/table")
			b.ReportMetric(0, "ns/op")
		})
	}
}

const never = 1<<63 - 1

// took is how long one call takes, with nothing left over of what was before.
func took(b *testing.B, call func() error) time.Duration {
	runtime.GC()
	begun := time.Now()
	if err := call(); err != nil {
		b.Fatal(err)
	}
	return time.Since(begun)
}
