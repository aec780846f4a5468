package main

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	"witnessmark/client"
	"witnessmark/client/sheet"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// printCard prints a job's card.
func (a *app) printCard(ctx context.Context, c *client.Client, n uint32) error {
	j, err := c.Job(n)
	if err != nil {
		return err
	}
	if a.json() {
		return a.printCardJSON(c, j)
	}
	files, err := c.JobFiles(j)
	if err != nil {
		return err
	}
	return writeCard(a.out, j, files, distance(ctx, c, j), runRows(ctx, c, j))
}

// printCardJSON is the job, with its alarms as the tray has them; what is in a car that was never read is not known.
func (a *app) printCardJSON(c *client.Client, j *recordv1.Job) error {
	alarms, err := c.AlarmsNow(j.GetNumber())
	if err != nil {
		return err
	}
	if j.GetInCar() == nil {
		j.InCar = &recordv1.InCar{}
	}
	text, err := client.JSON(j)
	if err != nil {
		return err
	}
	var card map[string]any
	if err := json.Unmarshal(text, &card); err != nil {
		return err
	}
	card["alarms"] = alarms
	return a.printJSON(card, nil)
}

// writeCard writes a job's card: its alarms, the facts, and everything that followed in order of its kind.
// Distance is how far the car is from as found, in words; empty where it is as found, or nobody knows. Runs are rows of it.
func writeCard(w io.Writer, j *recordv1.Job, files client.JobFiles, distance string, runs [][]string) error {
	for _, al := range inForce(j.GetAlarms()) {
		fmt.Fprintln(w, alarmText(al))
	}
	rows := factRows(j, files)
	for _, r := range j.GetReads() {
		rows = append(rows, []string{fmt.Sprintf("read %d", r.GetNumber()), readText(r)})
	}
	for _, s := range j.GetSubmissions() {
		rows = append(rows, submissionRows(j, s)...)
	}
	for _, c := range j.GetCorridors() {
		rows = append(rows, []string{fmt.Sprintf("corridor %d", c.GetNumber()), client.CorridorRow(j, c)})
		for _, line := range client.SomeTables(client.Bounds(c.GetAsked()), mostLines) {
			rows = append(rows, []string{"", line})
		}
	}
	for _, c := range j.GetCollections() {
		rows = append(rows, []string{"collected", fmt.Sprintf("%s, %s", ofJob(j.GetNumber(), c.GetSubmission()), eventText(c.GetCollected()))})
	}
	for _, b := range j.GetReadBacks() {
		rows = append(rows, []string{fmt.Sprintf("read-back %d", b.GetNumber()), fmt.Sprintf("%s: %s, %s", ofJob(j.GetNumber(), b.GetSubmission()), backText(b), eventText(b.GetAdded()))})
	}
	if in := j.GetInCar(); in != nil {
		rows = append(rows, []string{"in the car", inCarText(in)})
	}
	if distance != "" {
		rows = append(rows, []string{"from as found", distance})
	}
	rows = append(rows, runs...)
	for _, n := range j.GetNotes() {
		rows = append(rows, noteRows(j, n)...)
	}
	for _, s := range j.GetSettled() {
		rows = append(rows, []string{"settled", fmt.Sprintf("%s %s: %s; %s", s.GetAbout(), s.GetAlarm(), client.OneLine(s.GetBecause()), eventText(s.GetSettled()))})
	}
	if n := client.Next(j); n != "" {
		rows = append(rows, []string{"next", n})
	}
	return columns(w, rows)
}

// distance says how far what is in a job's car is from what it came with, in words.
func distance(ctx context.Context, c *client.Client, j *recordv1.Job) string {
	r, err := c.FromAsFound(ctx, j.GetInCar())
	switch {
	case err != nil:
		return "not told: " + client.OneLine(err.Error())
	case r == nil:
		return ""
	}
	var far []string
	for _, t := range r.Report.GetTables() {
		s := fmt.Sprintf("%s %d of %d cells", client.OneLine(t.GetId()), t.GetChanged(), t.GetCells())
		if f := t.GetFromAsFound(); f != nil {
			s += fmt.Sprintf(" (%d since the car first came)", f.GetChanged())
		}
		far = append(far, s)
	}
	return cmp.Or(strings.Join(client.SomeTables(far, mostLines), ", "), "no table")
}

// mostLines keeps a card readable.
const mostLines = 12

// factRows are what people said of a job.
func factRows(j *recordv1.Job, files client.JobFiles) [][]string {
	rows := [][]string{
		{"job", fmt.Sprint(j.GetNumber())}, {"car", fmt.Sprintf("%s (number %d)", cmp.Or(sheet.Sealed(j.GetPlate()), "-"), j.GetCar())},
		{"frame number", frameText(j)}, {"definition", fileText(files.Definition)}, {"limits", fileText(files.Limits)}, {"fuel", client.OneLine(j.GetFuel())},
	}
	for _, p := range j.GetParts() {
		rows = append(rows, []string{"part", client.OneLine(p)})
	}
	rows = append(rows, client.NumberRows(j)...)
	if j.GetNote() != nil {
		rows = append(rows, []string{"note", sheet.Sealed(j.GetNote())})
	}
	state := j.GetState()
	if j.GetOutcome() != "" {
		state += ", " + j.GetOutcome()
	}
	if j.GetBecause() != "" {
		state += ": " + client.OneLine(j.GetBecause())
	}
	rows = append(rows, []string{"state", state}, []string{"opened", eventText(j.GetOpened())})
	for _, e := range append(slices.Clone(j.GetAmended()), j.GetTurns()...) {
		rows = append(rows, []string{happened[e.GetKind()], eventText(e)})
	}
	if e := j.GetErased(); e != nil {
		what := eventText(e)
		if j.GetImagesErased() {
			what += "; images too"
		}
		rows = append(rows, []string{"erased", what})
	}
	return rows
}

// fileText is what judges a job, and what did when it was opened.
func fileText(f client.JobFile) string {
	text := fmt.Sprintf("%s, revision %d", f.Name, f.Now)
	if f.Then != f.Now {
		text += fmt.Sprintf(" (revision %d when the job said so)", f.Then)
	}
	return text
}

// happened is what a kind of entry did to a job.
var happened = map[string]string{"amend": "amended", "close": "closed", "reopen": "reopened"}

// frameText says whether there is a frame number; the number itself is private.
func frameText(j *recordv1.Job) string {
	switch {
	case j.GetFrame() == nil:
		return "not known"
	case j.GetFrame().GetErased():
		return "erased"
	}
	return "known, not shown"
}

func submissionRows(j *recordv1.Job, s *recordv1.Submission) [][]string {
	state := fmt.Sprintf("%s, %s, %s", s.GetState(), s.GetJudgement().GetVerdict(), eventText(s.GetSubmitted()))
	if s.GetFrom() != 0 {
		state += fmt.Sprintf("; from %d.%d", s.GetJob(), s.GetFrom())
	}
	rows := [][]string{{"submission " + client.Name(s), state}}
	if s.GetNote() != nil {
		rows = append(rows, []string{"", sheet.Sealed(s.GetNote())})
	}
	for _, text := range yesLines(j, s) {
		rows = append(rows, []string{"", text})
	}
	if not := client.NotCovered(j, s); not != "" {
		rows = append(rows, []string{"", not})
	}
	if s.GetReturned() != nil {
		rows = append(rows, []string{"", fmt.Sprintf("returned by %s: %s", eventText(s.GetReturned()), client.OneLine(s.GetReturn().GetReason()))})
	}
	return rows
}

// yesLines say whose yes a submission has, or had until a compromised key took it back, and the reasons that came with it.
func yesLines(j *recordv1.Job, s *recordv1.Submission) (lines []string) {
	given := proto.CloneOf(s)
	given.Voided = false
	y := client.YesTo(j, given)
	if y == nil {
		return nil
	}
	text := y.Says()
	if s.GetVoided() {
		text += "; voided, its key was compromised"
	}
	lines = append(lines, text)
	because := s.GetSignOff().GetBecause()
	for _, key := range slices.Sorted(maps.Keys(because)) {
		lines = append(lines, fmt.Sprintf("for %s: %s", client.OneLine(key), client.OneLine(because[key])))
	}
	return lines
}

func noteRows(j *recordv1.Job, n *recordv1.Note) [][]string {
	about := fmt.Sprint(j.GetNumber())
	if n.GetSubmission() != 0 {
		about += fmt.Sprintf(".%d", n.GetSubmission())
	}
	rows := [][]string{{"note", fmt.Sprintf("about %s, %s: %s", client.OneLine(about+" "+n.GetTable()), eventText(n.GetAdded()), sheet.Sealed(n.GetText()))}}
	for _, f := range n.GetFiles() {
		rows = append(rows, []string{"", fmt.Sprintf("with %s, %d bytes", sheet.Sealed(f.GetName()), f.GetSize())})
	}
	return rows
}

func readText(r *recordv1.Read) string {
	s := "sha256 " + short(r.GetImage().GetSha256()) + ", " + eventText(r.GetAdded())
	if r.GetAsFound() {
		s = "as found, " + s
	}
	if r.GetWithHoles() {
		s += "; with holes"
	}
	if r.GetCheck() != nil {
		s += "; judged by itself: " + r.GetCheck().GetVerdict()
	}
	if k := r.GetLastKnown(); k != nil {
		s += "; " + lastKnownText(k)
	}
	if v := r.GetVoided(); v != nil {
		s += fmt.Sprintf("; voided by %s: %s", eventText(v), client.OneLine(r.GetVoidBecause()))
	}
	return s
}

// lastKnownText says how a read compares with what was last in the car.
func lastKnownText(k *recordv1.LastKnown) string {
	what := fmt.Sprintf("as our job %d left it", k.GetJob())
	if k.GetSame() {
		return what
	}
	return "not " + what + ": somebody changed it since"
}

func backText(b *recordv1.Readback) string {
	switch {
	case b.GetNotPossible() != "":
		return "written, not read back: " + client.OneLine(b.GetNotPossible())
	case b.GetMatches():
		return "matches"
	}
	return "differs from what was written"
}

func inCarText(in *recordv1.InCar) string {
	if !in.GetKnown() {
		return "not known: read back, it was not " + ofJob(in.GetJob(), in.GetSubmission())
	}
	return fmt.Sprintf("%s (%s)", ofJob(in.GetJob(), in.GetSubmission()), in.GetKnownBy())
}

func ofJob(job, n uint32) string {
	if n == 0 {
		return fmt.Sprintf("the read as found of job %d", job)
	}
	return fmt.Sprintf("%d.%d", job, n)
}

func eventText(e *recordv1.Event) string {
	return fmt.Sprintf("%s, %s (entry %d)", client.OneLine(e.GetPerson()), e.GetSignedAt(), e.GetEntry())
}

// short is enough of a hash to tell two apart.
func short(sum string) string { return sum[:min(12, len(sum))] }
