package server

import (
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/definition"
)

// FuzzPageToken: whatever comes is a cursor that this pager made, or refused in one line.
func FuzzPageToken(f *testing.F) {
	p := newPager([]byte("seed"))
	good := p.token("jobs", "AB12CD", cursor{size: 3, after: "0000000002"})
	for _, s := range []string{"", good, good[1:], "AAAA", "\x00", strings.Repeat("A", 40)} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, token string) {
		c, err := p.cursor("jobs", "AB12CD", token, 5)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("%q is not one line", err)
			}
			return
		}
		if token != "" && p.token("jobs", "AB12CD", c) != token {
			t.Errorf("%q was accepted and is another token than the one for %+v", token, c)
		}
		if c.size > 5 {
			t.Errorf("a cursor of tree size %d in a ledger of 5", c.size)
		}
	})
}

// FuzzPeek: looking for a request id in any bytes never panics, and an id is never empty.
func FuzzPeek(f *testing.F) {
	for _, s := range []string{"", "{}", `{"payload":"e30="}`, `{"payloadType":"application/vnd.in-toto+json","payload":"eyJwcmVkaWNhdGUiOnsicmVxdWVzdF9pZCI6ImEifX0="}`, `{"payload":"eyJyZXF1ZXN0X2lkIjoiYSJ9"}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, envelope []byte) {
		if id, ok := requestID(envelope); ok && id == "" {
			t.Error("found an empty id")
		}
		_, _ = peekAction(envelope)
	})
}

// FuzzGaps: ranges and gaps together are the image, each byte once.
func FuzzGaps(f *testing.F) {
	f.Add(uint32(0x100), uint32(0x140), uint32(0x140), uint32(0x200))
	f.Add(uint32(0x100), uint32(0x200), uint32(0), uint32(0))
	f.Add(uint32(0x1FF), uint32(0x200), uint32(0x100), uint32(0x101))
	f.Add(uint32(0), ^uint32(0), ^uint32(0), uint32(1))
	f.Fuzz(func(t *testing.T, a, b, c, d uint32) {
		lay := &definition.Layout{Start: 0x100, Size: 0x100}
		im := &recordv1.Image{Ranges: []*calibrationv1.AddressRange{{Start: a, End: b}, {Start: c, End: d}}}
		gaps, err := gapsOf("image", im, lay)
		if err != nil {
			return
		}
		var times [0x100]int
		for _, r := range im.GetRanges() {
			for x := r.GetStart(); x < r.GetEnd(); x++ {
				times[x-0x100]++
			}
		}
		for _, g := range gaps {
			for x := g.Start; x < g.End; x++ {
				times[x]++
			}
		}
		for x, n := range times {
			if n != 1 {
				t.Fatalf("byte 0x%x is held or lacking %d times (ranges %x–%x, %x–%x)", x, n, a, b, c, d)
			}
		}
	})
}
