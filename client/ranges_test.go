package client

import (
	"testing"

	"witnessmark/tables/image"
)

// hexOf is an Intel HEX file that holds only these ranges of an image.
func hexOf(w *world, flat []byte, present ...[2]uint64) []byte {
	w.Helper()
	b, err := image.FromFlat(flat, 0, present).Encode(image.IHex)
	w.must(nil, err)
	return b
}

// A read from a HEX file with a gap: what is submitted holds the same ranges, and is collected so.
func TestSubmissionHoldsTheReadsRanges(t *testing.T) {
	w := newWorld(t)
	w.must(w.tech.OpenJob(ctx, NewJob{Car: "GAP 1", Definition: "bench", Limits: "bench-98", Frame: frame}))
	flat := testImage("\x0a\x0b\x0c\x0d")
	for i := 0x80; i < 0xC0; i++ {
		flat[i] = 0xFF
	}
	held := [][2]uint64{{0, 0x80}, {0xC0, 0x100}}
	_, _, err := w.tech.AddRead(ctx, 2, w.write("gap.hex", hexOf(w, flat, held...)), "")
	w.must(nil, err)
	submit := func(file []byte) error {
		_, _, err := w.cal.Submit(ctx, NewSubmission{Job: 2, Path: w.write("sub", file), Note: "x"})
		return err
	}
	changed := append([]byte(nil), flat...)
	changed[0x40] = 0x0C
	changed[0x90] = 0
	w.refusedAs(submit(changed), Refused, "a byte at 0x90, which the job's read does not hold")
	changed[0x90] = 0xFF
	w.refusedAs(submit(hexOf(w, changed, [2]uint64{0, 0x70}, [2]uint64{0xC0, 0x100})), Refused, "lacks 0x70 to 0x80")
	w.must(nil, submit(changed)) // raw: the gap is 0xFF
	w.must(nil, submit(hexOf(w, changed, held...)))
	w.must(nil, w.lead.Sync(ctx))
	r, err := w.lead.Review(ctx, 2, 2)
	w.must(nil, err)
	if len(r.Report.Gaps) == 0 {
		t.Error("the report does not name the gap")
	}
	w.must(w.lead.SignOff(ctx, r, nil, nil))
	_, err = w.tech.Collect(ctx, Collecting{Job: 2, Out: w.path("out.hex"), Frame: frame})
	w.must(nil, err)
	lay := r.Layout()
	p, err := ReadFile(w.path("out.hex"), "", lay)
	w.must(nil, err)
	if p.Image.Sha256 != r.Submission.Image.Sha256 || p.Image.FileFormat != "ihex" || len(p.Image.Ranges) != 2 {
		t.Errorf("collected %v", p.Image)
	}
	// An image with a real gap has no raw file of the same ranges, and the bytes are the same.
	_, err = w.tech.Collect(ctx, Collecting{Job: 2, Out: w.path("out.raw"), Frame: frame, Format: image.Raw})
	w.must(nil, err)
}
