package client

import (
	"fmt"
	"sort"
	"strings"
	"unicode"
)

// baySheet is the plain text that goes to the bay with a file.
func baySheet(r *Review, got *Collected, checked string) string {
	var b strings.Builder
	line := func(label, format string, args ...any) {
		fmt.Fprintf(&b, "%-12s %s\n", label, fmt.Sprintf(format, args...))
	}
	sub, job := r.Submission, r.Job
	b.WriteString("BAY SHEET\n\n")
	line("car", "%s", orDash(job.GetPlate().GetText()))
	line("checked by", "%s", carChecked(checked))
	line("job", "%d", job.Number)
	line("fuel", "%s", orDash(job.Fuel))
	for _, p := range job.Parts {
		line("part", "%s", p)
	}
	line("file", "submission %s, sha256 %s", Name(sub), got.FileSHA256)
	line("image", "sha256 %s", sub.Image.GetSha256())
	line("definition", "%s (%s)", r.Judgement.GetDefinition().GetName(), short(r.Judgement.GetDefinition().GetSha256()))
	line("limits", "%s (%s)", r.Judgement.GetLimits().GetName(), short(r.Judgement.GetLimits().GetSha256()))
	line("author", "%s", sub.Submitted.GetPerson())
	saidYes(line, YesTo(job, sub))
	line("verdict", "%s", r.Judgement.Verdict)
	if note := sub.GetNote().GetText(); note != "" {
		line("note", "%s", OneLine(note))
	}
	for _, n := range got.Newer {
		line("NEWER", "submission %s is %s; ask before you write this one", Name(n), n.GetState())
	}
	warningsOn(&b, r)
	learnedOn(&b, r)
	cautionsOn(&b)
	return b.String()
}

func carChecked(by string) string {
	switch by {
	case "fresh-read":
		return "a fresh read of this car"
	case "frame":
		return "its frame number, typed"
	}
	return "nothing: the definition has no field that belongs to one car"
}

// mostBounds keeps the sheet one that is read in the bay.
const mostBounds = 40

// saidYes is who answers for the file, and of a corridor what it let the file be.
func saidYes(line func(label, format string, args ...any), y *Yes) {
	if y.Corridor == nil {
		line("signed by", "%s (entry %d)%s", y.By.GetPerson(), y.By.GetEntry(), y.byAuthor())
		return
	}
	line("released", "%s", strings.TrimPrefix(y.Says(), "released "))
	for _, table := range SomeTables(Bounds(y.Corridor.GetAsked()), mostBounds) {
		line("", "%s", table)
	}
	line("", "a verdict of at most %s", y.Corridor.GetAsked().GetMost())
	if y.Reason != "" && !y.ByAuthor {
		line("", "because: %s", OneLine(y.Reason))
	}
	line("", "The file that stays is read back, and signed off by itself, before the car leaves.")
}

func warningsOn(b *strings.Builder, r *Review) {
	if len(r.Judgement.Warnings) == 0 {
		return
	}
	b.WriteString("\nWARNINGS, and why they were signed for\n")
	keys := append([]string(nil), r.Judgement.Warnings...)
	sort.Strings(keys)
	for _, key := range keys {
		fmt.Fprintf(b, "  WARNING  %s\n           %s\n           because: %s\n", key, OneLine(question(r, key)), OneLine(r.Submission.SignOff.Because[key]))
	}
}

// learnedOn names what the controller has learned and what writing the file replaces.
func learnedOn(b *strings.Builder, r *Review) {
	ranges := r.Layout().Source.GetVolatile()
	if len(ranges) == 0 {
		return
	}
	b.WriteString("\nLEARNED VALUES travel with this file, as they were when the car was read\n")
	for _, v := range ranges {
		fmt.Fprintf(b, "  0x%06x to 0x%06x  %s\n", v.Start, v.End, v.Title)
	}
	b.WriteString("  After writing, let the controller learn again before it is judged under load.\n")
}

func cautionsOn(b *strings.Builder) {
	b.WriteString(`
BEFORE YOU WRITE AND BEFORE YOU LOAD THE ENGINE
  - A steady supply on the battery while writing; an interrupted write can leave a controller dead.
  - Read the controller back afterwards: witnessmark readback JOB FILE.
  - First loads short and watched: knock, mixture, charge pressure, exhaust temperature; stop at the
    first thing that is not as expected.
  - Rolling road: car strapped, guards closed, fans and exhaust extraction running, nobody in line
    with the wheels, a second person at the stop.
  - Road: emissions, noise and type approval differ by place. A change may make the car unlawful on
    the road or void its insurance. What local law and a licensed practitioner say goes before this sheet.
`)
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return OneLine(s)
}

// OneLine keeps what a person wrote from making lines of its own, or moving the cursor.
func OneLine(s string) string {
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool { return unicode.IsSpace(r) || unicode.IsControl(r) }), " ")
}
