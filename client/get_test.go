package client

import (
	"slices"
	"testing"

	"witnessmark/store/record"
)

// Who takes what to the bench; the bytes are the ledger's, or none.
func TestWorkingCopy(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.tech.Sync(ctx))
	w.must(nil, w.cal.Sync(ctx))
	at := func(text string) record.Name {
		n, err := record.ParseName(text)
		w.must(nil, err)
		return n
	}
	for _, c := range []*Client{w.tech, w.cal, w.lead} {
		got, err := c.WorkingCopy(ctx, at("1"), "")
		w.must(nil, err)
		if got.Name != at("1.read1") || got.FileName != "job-1.read1.bin" || got.State != "as found" || got.From != nil || !slices.Equal(got.File, testImage("\x0a\x0b\x0c\x0d")) {
			t.Errorf("%+v", got)
		}
	}
	for _, c := range []*Client{w.cal, w.lead} {
		got, err := c.WorkingCopy(ctx, at("1.1"), "ihex")
		w.must(nil, err)
		if got.State != record.Released || *got.From != at("1.read1") || got.FileName != "job-1.1.hex" || got.SHA256 != HashHex(testImage("\x0a\x0b\x0c\x20")) {
			t.Errorf("%+v", got)
		}
	}
	_, err := w.tech.WorkingCopy(ctx, at("1.1"), "")
	w.refusedAs(err, Refused, "a technician collects what is released")
	if r := reasonOf(err); r != record.ReasonRole {
		t.Errorf("reason %q", r)
	}

	fresh := w.login("fresh", "cal")
	w.fake.tell(lie{blob: func(_ string, b []byte) []byte { b[len(b)-1]++; return b }})
	_, err = fresh.WorkingCopy(ctx, at("1.1"), "")
	w.refusedAs(err, Distrust, "not those that the ledger names")
}
