package sheet

import (
	"fmt"
	"io"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/runcheck"
)

// WriteRunCheck prints a run held against a map, the sentence first.
func WriteRunCheck(w io.Writer, r *calibrationv1.RunCheck) error {
	b := paperFor(w)
	fmt.Fprintf(b, "%s\n\n", plainText(runcheck.Says(r)))
	for _, s := range r.Sides {
		if s.Samples == 0 {
			continue
		}
		fmt.Fprintf(b, "held       %s against %s: %+.3g%s on the mean, %.3g rms over %d samples%s\n", plainText(s.Table+s.Signal), plainText(s.Channel),
			s.Mean, plainText(runcheck.In(s.Unit)), s.Rms, s.Samples, behind(s.Delay))
		fmt.Fprintf(b, "           worst at %.2f s: commanded %.4g, logged %.4g\n", s.Worst.Time, s.Worst.Commanded, s.Worst.Logged)
	}
	for _, l := range r.LeftOut {
		fmt.Fprintf(b, "left out   %s\n", plainText(l))
	}
	for _, f := range r.Findings {
		fmt.Fprintf(b, "%s  %s: %s\n", Word(f.Severity), f.Kind, plainText(f.Text))
	}
	writeOutside(b, r.Outside)
	return b.done()
}

// writeOutside says once of each axis how long the run lay beyond it, and of which tables that is an axis.
func writeOutside(b *paper, all []*calibrationv1.RunOutside) {
	type key struct {
		axis string
		time float64
	}
	var order []key
	tables, share := map[key][]string{}, map[key]float64{}
	for _, o := range all {
		k := key{o.Axis, o.Time}
		if tables[k] == nil {
			order = append(order, k)
		}
		tables[k], share[k] = append(tables[k], o.Table), o.Share
	}
	for _, k := range order {
		fmt.Fprintf(b, "outside    %s for %.2f s, %.1f %% of the run: %s\n", plainText(Words(k.axis)), k.time, 100*share[k], plainText(strings.Join(tables[k], ", ")))
	}
}

// behind is the delay of a channel in words.
func behind(delay float64) string {
	switch {
	case delay > 0:
		return fmt.Sprintf("; the channel runs %.2f s behind", delay)
	case delay < 0:
		return fmt.Sprintf("; the channel runs %.2f s ahead", -delay)
	}
	return "; no delay is told"
}
