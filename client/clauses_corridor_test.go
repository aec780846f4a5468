package client

import (
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// Places of the entries in the proof of a corridor's release.
const (
	onOpen    = inRead + 1
	onCovered = inRead + 2
	onTaken   = inRead + 3
	onAll     = inRead + 4
)

// bounds is the corridor of these tests: two degrees up and down of 10, 11, 12, 13.
const bounds = "ignition.base=2:2"

// onRollingRoad takes the world on to a release of a corridor, which was collected.
func (w *world) onRollingRoad() *world {
	w.Helper()
	w.must(w.lead.OpenCorridor(ctx, CorridorPlan{Job: 1, Authors: []string{"cal"}, Tables: []string{bounds}, Most: "caution", Maps: 2}))
	w.submit("\x0a\x0b\x0c\x0e")
	w.must(nil, w.collect(w.tech))
	return w
}

// opens has the lead sign another corridor.
func (f *forgery) opens(change func(*recordv1.OpenCorridor)) {
	f.opensBy(f.lead, change)
}

func (f *forgery) opensBy(c *Client, change func(*recordv1.OpenCorridor)) {
	o := f.job().GetCorridors()[0].GetAsked()
	change(o)
	f.entries[onOpen] = f.signed(c, inRead, &recordv1.Action{Body: &recordv1.Action_Corridor{Corridor: o}})
}

// covered has the author submit otherwise, and the release collected by that.
func (f *forgery) covered(change func(*recordv1.Submit)) {
	s := &recordv1.Submit{Job: 1, Image: f.sub().GetImage(), Judgement: f.sub().GetJudgement(), Corridor: f.sub().GetCorridor()}
	change(s)
	f.entries[onCovered] = f.signed(f.cal, onOpen, &recordv1.Action{Body: &recordv1.Action_Submission{Submission: s}})
	f.collect(func(c *recordv1.Collect) {})
}

const notReleased = "it collects what nobody signed, and a corridor did not release: "

// corridorClauses are those of a corridor's release: each proof is one that a server which was taken over could make, with
// the help of whoever signs in it.
var corridorClauses = []clause{
	{"", func(*forgery) {}},
	{"", func(f *forgery) { f.covered(func(*recordv1.Submit) {}) }},
	{"", func(f *forgery) { f.opens(func(o *recordv1.OpenCorridor) { o.Authors = []string{"cal", "other"} }) }},
	// Who signed it, and for whom.
	{"cal is calibrator; this needs a", func(f *forgery) { f.opensBy(f.cal, func(*recordv1.OpenCorridor) {}) }},
	{"lead signs the corridor, and may not sign what they submit themselves", func(f *forgery) {
		f.opens(func(o *recordv1.OpenCorridor) { o.Authors = []string{"cal", "lead"} })
	}},
	{"lead signs the corridor, and may not sign what they submit themselves", func(f *forgery) { // which is for one-person workshops
		f.opens(func(o *recordv1.OpenCorridor) { o.Authors, o.ByAuthor, o.Reason = []string{"lead"}, true, "mine" })
	}},
	{notReleased + "corridor 1 is not for maps of cal", func(f *forgery) {
		f.opens(func(o *recordv1.OpenCorridor) { o.Authors = []string{"other"} })
	}},
	{notReleased + "lead, who signed it, could sign none any more", func(f *forgery) {
		f.insert(onCovered, f.lead, &recordv1.Action{Body: &recordv1.Action_Retire{Retire: &recordv1.Retire{Name: "lead"}}})
	}},
	{notReleased + "lead, who signed it, could sign none any more", func(f *forgery) { // by another key
		f.insert(onCovered, f.lead, &recordv1.Action{Body: &recordv1.Action_Enrol{Enrol: &recordv1.Enrol{Name: "lead", Roles: []string{"lead"}, PublicKey: f.line()}}})
	}},
	{notReleased + "lead, who signed it, could sign none any more", func(f *forgery) { // who is no lead
		f.insert(onCovered, f.lead, &recordv1.Action{Body: &recordv1.Action_Enrol{Enrol: &recordv1.Enrol{Name: "lead", Roles: []string{"calibrator"}, PublicKey: signoff.FormatPublicKey(f.lead.Key())}}})
	}},
	{"1.1 was signed by lead, whose key was compromised since", func(f *forgery) {
		f.insert(onAll, f.lead, &recordv1.Action{Body: &recordv1.Action_Retire{Retire: &recordv1.Retire{Name: "lead", Compromised: true}}})
	}},
	{"1.1 was submitted by cal, whose key was compromised since", func(f *forgery) {
		f.insert(onAll, f.lead, &recordv1.Action{Body: &recordv1.Action_Retire{Retire: &recordv1.Retire{Name: "cal", Compromised: true}}})
	}},
	// Where it starts.
	{"its corridor starts from an image that the proof does not have", func(f *forgery) {
		f.opens(func(o *recordv1.OpenCorridor) { o.FromSha256 = strings.Repeat("ab", 32) })
	}},
	{"its corridor starts from an image that the proof does not have", func(f *forgery) {
		f.opens(func(o *recordv1.OpenCorridor) { o.From = 1 })
	}},
	{notReleased + "what it starts from was taken back", func(f *forgery) {
		f.insert(onCovered, f.tech, &recordv1.Action{Body: &recordv1.Action_Void{Void: &recordv1.VoidRead{Job: 1, Read: 1, Because: "a slip"}}})
	}},
	{"start.bin is not the one that was signed for", func(f *forgery) { f.files[proofStart][0x40]++ }},
	{"start.bin is not the one that was signed for", func(f *forgery) { f.files[proofStart] = nil }},
	// What it covers.
	{notReleased + "the one that it names is not open", func(f *forgery) {
		f.insert(onCovered, f.tech, &recordv1.Action{Body: &recordv1.Action_CorridorClose{CorridorClose: &recordv1.CloseCorridor{Job: 1, Corridor: 1}}})
	}},
	{notReleased + "the one that it names is not open", func(f *forgery) {
		f.insert(onCovered, f.tech, &recordv1.Action{Body: &recordv1.Action_Close{Close: &recordv1.CloseJob{Job: 1, Outcome: "done"}}})
	}},
	{notReleased + "the one that it names is not open", func(f *forgery) { // a second one took its place
		f.insert(onCovered, f.lead, &recordv1.Action{Body: &recordv1.Action_Corridor{Corridor: f.job().GetCorridors()[0].GetAsked()}})
	}},
	{notReleased + "the one that it names is not open", func(f *forgery) {
		f.covered(func(s *recordv1.Submit) { s.Corridor.Corridor = 2 })
	}},
	{notReleased + "its maps, 1, were used up", func(f *forgery) {
		f.opens(func(o *recordv1.OpenCorridor) { o.Maps = 1 })
		f.insert(onCovered, f.cal, &recordv1.Action{Body: &recordv1.Action_Submission{Submission: &recordv1.Submit{Job: 1, Image: f.sub().GetImage(),
			Judgement: f.sub().GetJudgement(), Corridor: f.sub().GetCorridor()}}})
		f.collect(func(c *recordv1.Collect) { c.Submission = 2 })
	}},
	{notReleased + "it is for other revisions, fuel or numbers", func(f *forgery) {
		f.opens(func(o *recordv1.OpenCorridor) { o.Fuel = "98 RON" })
	}},
	{notReleased + "it is for other revisions, fuel or numbers", func(f *forgery) {
		f.opens(func(o *recordv1.OpenCorridor) { o.Numbers = map[string]string{"crank_pulley_mm": "180"} })
	}},
	{notReleased + "it is for other revisions, fuel or numbers", func(f *forgery) {
		f.opens(func(o *recordv1.OpenCorridor) { o.Limits.Sha256 = strings.Repeat("ab", 32) })
	}},
	{notReleased + "it is for other revisions, fuel or numbers", func(f *forgery) {
		f.opens(func(o *recordv1.OpenCorridor) { o.Definition.Sha256 = strings.Repeat("ab", 32) })
	}},
	{notReleased + "it is warning, and corridor 1 covers at most caution", func(f *forgery) {
		f.covered(func(s *recordv1.Submit) { s.Judgement.Verdict = "warning" })
	}},
	{notReleased + "outside corridor 1", func(f *forgery) {
		f.covered(func(s *recordv1.Submit) { s.Corridor.Outside = []*recordv1.Outside{{What: "bytes"}} })
	}},
	{"1.1 lies outside 1.corridor1: ignition.base at 4000 1/min: 14 deg, 1 above the start; the corridor allows 0.5 up", func(f *forgery) {
		f.opens(func(o *recordv1.OpenCorridor) { o.Tables[0].Up = "0.5" })
	}},
	{`corridor.tables: ignition.base is "far" up`, func(f *forgery) { f.opens(func(o *recordv1.OpenCorridor) { o.Tables[0].Up = "far" }) }},
	{"corridor.maps: is 1001", func(f *forgery) { f.opens(func(o *recordv1.OpenCorridor) { o.Maps = 1001 }) }},
	{`corridor.most: "warning" is none of them`, func(f *forgery) { // which needs a reason each
		f.opens(func(o *recordv1.OpenCorridor) { o.Most = "warning" })
		f.covered(func(s *recordv1.Submit) { s.Judgement.Verdict = "warning" })
	}},
	{notReleased + "it is the same file as 1.1, which lead returned", func(f *forgery) {
		sub := f.sub()
		f.insert(onCovered, f.lead, &recordv1.Action{Body: &recordv1.Action_Return{Return: &recordv1.Return{Job: 1, Submission: 1, ImageSha256: sub.GetImage().GetSha256(), Reason: "it knocks"}}})
		f.insert(onCovered, f.cal, &recordv1.Action{Body: &recordv1.Action_Submission{Submission: &recordv1.Submit{Job: 1, Image: sub.GetImage(),
			Judgement: sub.GetJudgement(), Corridor: sub.GetCorridor()}}})
		f.collect(func(c *recordv1.Collect) { c.Submission = 2 })
	}},
	{"definition bench has no table", func(f *forgery) { f.opens(func(o *recordv1.OpenCorridor) { o.Tables[0].Table = "boost" }) }},
	{"was collected as a warning, which its sign-off does not cover", func(f *forgery) {
		f.collect(func(c *recordv1.Collect) { c.Judgement.Verdict = "warning" })
	}},
	{"1.1 was replaced before it was collected", func(f *forgery) { // another one stays
		f.insert(onTaken, f.tech, &recordv1.Action{Body: &recordv1.Action_CorridorClose{CorridorClose: &recordv1.CloseCorridor{Job: 1, Corridor: 1, Keep: 2}}})
	}},
	{"it collects on another sign-off than the newest", func(f *forgery) {
		f.entries[onTaken] = f.signed(f.tech, onOpen, &recordv1.Action{Body: &recordv1.Action_Collect{Collect: &recordv1.Collect{Job: 1, Submission: 1,
			ImageSha256: f.sub().GetImage().GetSha256(), Judgement: f.sub().GetJudgement()}}})
	}},
	// By which definition.
	{"", func(f *forgery) { f.byDefinition(testDefinition+"# more\n", true) }},
	{"it holds no entry that added bench, by which its corridor was signed", func(f *forgery) { f.byDefinition(testDefinition+"# more\n", false) }},
	{"corridor.yaml is not the one that was signed for", func(f *forgery) {
		f.byDefinition(testDefinition+"# more\n", true)
		f.files[proofCorridor] = nil
	}},
	{`corridor.yaml:1: unknown field "colour"`, func(f *forgery) { f.byDefinition("colour: red\n", true) }},
	{"size: the image has 256 bytes", func(f *forgery) { f.byDefinition(smaller(testDefinition), true) }},
	{"it holds files of a corridor that 1.1 does not need", func(f *forgery) { f.files[proofCorridor] = f.files[proofDefinition] }},
}

// byDefinition has the corridor signed, and the map submitted, by another definition than it was collected by; an entry
// adds it, or none.
func (f *forgery) byDefinition(file string, added bool) {
	rev := &recordv1.Revision{Name: "bench", Sha256: HashHex([]byte(file))}
	f.files[proofCorridor] = []byte(file)
	f.opens(func(o *recordv1.OpenCorridor) { o.Definition = rev })
	collected := f.sub().GetJudgement().GetDefinition()
	f.covered(func(s *recordv1.Submit) { s.Judgement.Definition = rev })
	f.collect(func(c *recordv1.Collect) { c.Judgement.Definition = collected })
	if added {
		f.insert(inLimits, f.lead, &recordv1.Action{Body: &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{Revision: rev}}})
	}
}
