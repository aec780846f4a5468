package main

import (
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// BenchmarkCompareCommand is what the demo's comparison takes of the processors as a process, by its limits and without them,
// beside what the program takes to begin and to say its version: each the least of several turns.
func BenchmarkCompareCommand(b *testing.B) {
	program := filepath.Join(b.TempDir(), "witnessmark")
	if out, err := exec.Command("go", "build", "-o", program, "witnessmark/client/witnessmark").CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	demo := func(name string) string { return filepath.Join("..", "..", "testdata", "demo", name) }
	compare := []string{"compare", demo("asfound.bin"), demo("submission-1.bin"), "--any-verdict", "--definition", demo("dx1-1.8t.yaml")}
	turns := map[string][]string{"version": {"--version"}, "compare": compare, "by-limits": append(compare[:len(compare):len(compare)], "--limits", demo("dx1-road-98.yaml"))}
	least := map[string]time.Duration{"version": math.MaxInt64, "compare": math.MaxInt64, "by-limits": math.MaxInt64}
	for b.Loop() {
		for what, args := range turns {
			c := exec.Command(program, args...)
			c.Env = append(os.Environ(), "WITNESSMARK_HOME="+b.TempDir())
			if err := c.Run(); err != nil {
				b.Fatalf("%s: %v", what, err)
			}
			least[what] = min(least[what], c.ProcessState.UserTime()+c.ProcessState.SystemTime())
		}
	}
	b.ReportMetric(0, "ns/op")
	for what, cpu := range least {
		b.ReportMetric(cpu.Seconds()*1000, what+"-cpu-ms")
	}
}
