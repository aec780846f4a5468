package sheet

import (
	"fmt"
	"io"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// WriteDiffering prints how what was found in a car differs from what should be in it. Nobody submitted
// it, so it has no verdict. Base and candidate say in words what the two images are.
func WriteDiffering(w io.Writer, r *calibrationv1.Report, base, candidate string, o Options) error {
	r, o.unjudged = plainReport(r), true
	b := paperFor(w)
	for _, line := range o.Heading {
		fmt.Fprintln(b, plainText(line))
	}
	fmt.Fprintln(b, bold.Render(differing(r)))
	wide := max(len(base), len(candidate), len("definition"))
	fmt.Fprintf(b, "%-*s  sha256 %s\n%-*s  sha256 %s\n", wide, base, r.Base.GetSha256(), wide, candidate, r.Candidate.GetSha256())
	fmt.Fprintf(b, "%-*s  %s\n", wide, "definition", document(r.Definition))
	writeTables(b, r, &o)
	writeAccount(b, r)
	return b.done()
}

// differing counts what differs, in one line.
func differing(r *calibrationv1.Report) string {
	cells := 0
	for _, t := range r.Tables {
		cells += int(t.Changed)
	}
	s := "no table differs"
	switch len(r.Tables) {
	case 0:
	case 1:
		s = "1 table differs, in " + plural(cells, "cell")
	default:
		s = fmt.Sprintf("%d tables differ, in %s", len(r.Tables), plural(cells, "cell"))
	}
	return s + "; " + bytesDiffer(r.GetBytes().GetDiffering())
}

func bytesDiffer(n uint32) string {
	if n == 1 {
		return "1 byte differs"
	}
	return grouped(n) + " bytes differ"
}
