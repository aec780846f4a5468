package record

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// Said is one text of a job, and what it was said of.
type Said struct {
	Of   Name
	What string // plate, part, note, reason, table, file
	Text string
}

// Texts are all that job n says in words, and the tables that are named in it. Frame numbers are not
// among them, nor what was erased.
func (s *State) Texts(n uint32) []Said {
	return texts(s.job(n), func(t *recordv1.Text) string { return s.Opening(t.GetCommitment()).GetText() })
}

func texts(j *recordv1.Job, open func(*recordv1.Text) string) (out []Said) {
	job := Name{Job: j.GetNumber()}
	say := func(of Name, what string, texts ...string) {
		for _, text := range texts {
			if text != "" {
				out = append(out, Said{of, what, text})
			}
		}
	}
	say(job, "plate", open(j.GetPlate()))
	say(job, "part", j.GetParts()...)
	say(job, "note", open(j.GetNote()))
	say(job, "reason", j.GetBecause())
	for _, c := range j.GetCorridors() {
		of := Name{job.Job, ACorridor, c.GetNumber()}
		say(of, "reason", c.GetAsked().GetReason(), c.GetBecause())
		for _, t := range c.GetAsked().GetTables() {
			say(of, "table", t.GetTable())
		}
	}
	for _, r := range j.GetReads() {
		say(Name{job.Job, ARead, r.GetNumber()}, "reason", r.GetVoidBecause())
	}
	for _, sub := range j.GetSubmissions() {
		of := Name{job.Job, ASubmission, sub.GetNumber()}
		say(of, "note", open(sub.GetNote()))
		say(of, "table", tablesOf(sub)...)
		say(of, "reason", sub.GetSignOff().GetReason(), sub.GetReturn().GetReason())
		for _, key := range sub.GetSignOff().GetJudgement().GetWarnings() {
			say(of, "reason", sub.GetSignOff().GetBecause()[key])
		}
	}
	for _, b := range j.GetReadBacks() {
		say(Name{job.Job, AReadback, b.GetNumber()}, "reason", b.GetNotPossible())
	}
	for _, n := range j.GetNotes() {
		of := job
		if n.GetSubmission() != 0 {
			of = Name{job.Job, ASubmission, n.GetSubmission()}
		}
		say(of, "note", open(n.GetText()))
		say(of, "table", n.GetTable())
		for _, f := range n.GetFiles() {
			say(of, "file", open(f.GetName()))
		}
	}
	for _, w := range j.GetSettled() {
		of, _ := ParseName(w.GetAbout()) // it names an alarm's
		say(of, "reason", w.GetBecause())
	}
	return out
}

// tablesOf are the tables that an author meant to change, and those that warnings are about.
func tablesOf(sub *recordv1.Submission) []string {
	out := slices.Clone(sub.GetMeant())
	for _, key := range append(sub.GetJudgement().GetWarnings(), sub.GetJudgedWorse().GetWarnings()...) {
		if _, table, ok := strings.Cut(key, ":"); ok {
			out = append(out, table)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// maxWord bounds a word by which a job is found, in runes.
const maxWord = 40

// Words are a text's letters and digits in lower case, cut where others are between them.
func Words(text string) []string {
	words := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	for i, w := range words {
		if utf8.RuneCountInString(w) > maxWord {
			words[i] = string([]rune(w)[:maxWord])
		}
	}
	return words
}

// words are those that a text is found by; a plate is found by any part of it.
func (s Said) words() []string {
	words := Words(s.Text)
	if s.What == "plate" {
		plate := strings.ToLower(NormalPlate(s.Text))
		for i := range plate {
			words = append(words, Words(plate[i:])...)
		}
	}
	return words
}

// Has says whether one of the text's words begins with a word.
func (s Said) Has(word string) bool {
	return slices.ContainsFunc(s.words(), func(w string) bool { return strings.HasPrefix(w, word) })
}
