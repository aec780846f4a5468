package client

import (
	"slices"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/definition"
)

// Asked is the reason for which an earlier submission was returned, as it stands on a later one.
type Asked struct {
	Returned *recordv1.Submission
	// Findings are those that the reason names by their keys, ticked off by the later one's report.
	Findings []AskedFinding
}

// AskedFinding is a finding that a reason names; Gone says that the report has it no more.
type AskedFinding struct {
	Key  string
	Gone bool
}

// Open says that something is left to look at: a finding that is still there, or a reason that names
// none, which only a person can tick off.
func (a Asked) Open() bool {
	return len(a.Findings) == 0 || slices.ContainsFunc(a.Findings, func(f AskedFinding) bool { return !f.Gone })
}

// Asked are the reasons of returned submissions that this one answers, newest first: those of its
// author since their last release, and those that it was started from.
func (r *Review) Asked() (out []Asked) {
	here := map[string]bool{}
	for _, f := range r.Report.GetFindings() {
		here[Key(f)] = true
	}
	lineage := startedFromAll(r.Job, r.Submission)
	author := r.Submission.GetSubmitted().GetPerson()
	for _, s := range slices.Backward(r.Job.GetSubmissions()[:r.Submission.GetNumber()-1]) {
		own := s.GetSubmitted().GetPerson() == author
		switch {
		case own && record.IsRelease(s):
			return out
		case s.GetState() != record.Returned || !own && !lineage[s.GetNumber()]:
			continue
		}
		a := Asked{Returned: s}
		for _, key := range keysIn(s.GetReturn().GetReason(), r.Layout()) {
			a.Findings = append(a.Findings, AskedFinding{Key: key, Gone: !here[key]})
		}
		out = append(out, a)
	}
	return out
}

// startedFromAll are the submissions that one goes back to, by number.
func startedFromAll(job *recordv1.Job, s *recordv1.Submission) map[uint32]bool {
	out := map[uint32]bool{}
	for from := s.GetFrom(); from != 0 && !out[from]; from = record.SubmissionOf(job, from).GetFrom() {
		out[from] = true
	}
	return out
}

// keysIn are the words of a text that have the form of a finding's key, RULE:TABLE or RULE:SIGNAL, of a
// definition, each once.
func keysIn(text string, lay *definition.Layout) (keys []string) {
	words := strings.FieldsFunc(text, func(c rune) bool {
		return !strings.ContainsRune("abcdefghijklmnopqrstuvwxyz0123456789._-:", c)
	})
	for _, w := range words {
		w = strings.TrimRight(w, ".:-_") // the end of a sentence
		rule, about, ok := strings.Cut(w, ":")
		if ok && rule != "" && (lay.ByID[about] != nil || lay.SignalByID[about] != nil) && !slices.Contains(keys, w) {
			keys = append(keys, w)
		}
	}
	return keys
}
