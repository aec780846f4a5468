package compare

import (
	"fmt"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/limits"
	"witnessmark/tables/severity"
)

// find adds a finding of a rule that is always on.
func (s *session) find(f *calibrationv1.Finding) {
	f.Reason, f.Source = limits.AlwaysOn[f.Rule], limits.AlwaysOnSource
	s.report.Findings = append(s.report.Findings, f)
}

// joined makes one line of what was found, and of a long list says how much was left out.
func joined(list []string) string { return cut(list, "; ") }

// listed is joined for what stands within a sentence.
func listed(list []string) string { return cut(list, ", ") }

func cut(list []string, between string) string {
	const most = 12
	if len(list) <= most {
		return strings.Join(list, between)
	}
	return fmt.Sprintf("%s%sand %d more", strings.Join(list[:most], between), between, len(list)-most)
}

// several is a count and its word: 1 byte, 2 bytes.
func several[N uint32 | int](n N, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}

func short(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

// unmappedFindings is one finding for each kind of content that changed where nothing is mapped.
func (s *session) unmappedFindings() {
	for _, k := range []struct{ content, severity string }{{"code", "danger"}, {"calibration", "warning"}, {"data", "caution"}} {
		f := &calibrationv1.Finding{Rule: "unmapped-bytes", Severity: k.severity}
		for _, r := range s.report.Unmapped {
			if r.Content == k.content {
				f.Ranges = append(f.Ranges, proto.CloneOf(r))
				f.Count += r.Bytes
			}
		}
		if f.Count > 0 {
			f.Detail = fmt.Sprintf("%s of %s in %s", several(f.Count, "differing byte"), k.content, several(len(f.Ranges), "range"))
			s.find(f)
		}
	}
}

// notMeant finds changes that the author did not announce.
func (s *session) notMeant() {
	if s.report.Meant == nil {
		return
	}
	meant := map[string]bool{}
	for _, id := range s.report.Meant.Tables {
		meant[id] = true
	}
	for _, c := range s.changes {
		if !meant[c.id] {
			s.find(&calibrationv1.Finding{Rule: "not-meant", Severity: "caution", Table: c.id,
				Count: max(c.report.GetChanged(), 1), Detail: c.whatChanged()})
		}
	}
}

func (c *change) whatChanged() string {
	if c.incomparable != "" {
		return c.incomparable
	}
	text := fmt.Sprintf("%d of %d cells changed", c.report.Changed, c.report.Cells)
	if c.report.AxesChanged {
		text += ", and breakpoints did"
	}
	return text
}

// carried counts the inherited findings that would be a warning or worse if they were new.
func (s *session) carried() {
	n := 0
	var keys []string
	for _, f := range s.report.Findings {
		if !Counts(f) && severity.Of(f.Severity).AtLeast(severity.Warning) {
			n++
			keys = append(keys, Key(f))
		}
	}
	if n > 0 {
		s.find(&calibrationv1.Finding{Rule: "carried", Severity: "notice", Count: uint32(n),
			Detail: fmt.Sprintf("%s of warning or danger that the base had already: %s", several(n, "finding"), joined(keys))})
	}
}
