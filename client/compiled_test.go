package client

import (
	"strings"
	"testing"

	"witnessmark/store/claims"
)

// Each step compiles each definition and each limits file that it needs once, whatever it asks of them.
func TestCompiledOnce(t *testing.T) {
	w := newWorld(t)
	step := func(c *Client, what string, want uint64, do func(c *Client)) {
		t.Helper()
		c.claims = claims.New()
		do(c)
		if n := c.claims.Compiled(); n != want {
			t.Errorf("%s: %d files compiled, want %d", what, n, want)
		}
	}
	add := func(kind, text string) func(*Client) {
		path := w.write("next.yaml", []byte(text))
		return func(c *Client) {
			w.must(c.Doubts(ctx, kind, path))
			w.must(c.Unchanged(ctx, kind, path))
			_, _, err := c.AddDocument(ctx, kind, path)
			w.must(nil, err)
		}
	}
	step(w.tech, "job open", 2, func(c *Client) {
		w.must(c.OpenJob(ctx, NewJob{Definition: "bench", Details: Details{Plate: "B2", Fuel: "98 ron", Limits: "bench-98"}}))
	})
	step(w.cal, "submit", 2, func(*Client) { w.submit("\x0a\x0b\x0c\x20") })
	w.must(nil, w.lead.Sync(ctx))
	step(w.lead, "review and sign", 2, func(*Client) { w.sign(1) })
	// What was released is judged by the new one too.
	step(w.lead, "definition add", 2, add(Definitions, strings.ReplaceAll(testDefinition, "Bench controller", "Controller on the bench")))
	step(w.lead, "limits add", 2, add(Limits, strings.ReplaceAll(testLimits, "pistons", "pistons melt")))
}
