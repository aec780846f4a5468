package record

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/severity"
)

var signOff = &kind{
	name:   "sign_off",
	target: subTarget("sign_off", func(a *recordv1.Action) subAction { return a.GetSignOff() }),
	decide: decideSignOff,
	apply:  applySignOff,
	brings: func(a *recordv1.Action) []Brought { return reports(a.GetSignOff().GetJudgement().GetReportSha256()) },
}

// subAction is an action about one submission.
type subAction interface {
	GetJob() uint32
	GetSubmission() uint32
}

// subTarget is the submission's latest entry: itself, its sign-off or its return.
func subTarget(name string, of func(*recordv1.Action) subAction) func(*State, *recordv1.Action) (uint64, error) {
	return func(s *State, a *recordv1.Action) (uint64, error) {
		sub, err := s.subAt(name, of(a).GetJob(), of(a).GetSubmission())
		return uint64(sub.GetLatest()), err
	}
}

func decideSignOff(d *decision) error {
	so := d.action.GetSignOff()
	sub, err := d.subAt("sign_off", so.GetJob(), so.GetSubmission())
	if err != nil {
		return err
	}
	if err := sameImage(sub, "sign_off", so.GetImageSha256()); err != nil {
		return err
	}
	j := d.job(so.GetJob())
	if err := d.judgement("sign_off.judgement", j, AsFound(j).GetImage().GetSha256(), so.GetJudgement()); err != nil {
		return err
	}
	if err := d.maySign(sub, so); err != nil {
		return err
	}
	return CheckSignOff(d.who, d.Genesis().GetOnePerson(), sub, so)
}

// CheckSignOff holds a sign-off to who may give it, and to what it must give reasons for.
func CheckSignOff(who *recordv1.Person, onePerson bool, sub *recordv1.Submission, so *recordv1.SignOff) error {
	if err := checkAuthor(who, onePerson, sub, so); err != nil {
		return err
	}
	verdict := so.GetJudgement().GetVerdict()
	switch {
	case verdict == string(severity.Danger):
		return refuse(ReasonDanger, "sign_off.judgement.verdict", "", "%s is danger, which nobody signs; return it, or give the limits a new revision", subName(sub))
	case verdict == string(severity.Warning), onlyCorridor(sub):
		if err := needs(who, lead); err != nil {
			return err
		}
	}
	return checkBecause(sub, so)
}

// maySign allows a waiting submission, a release that has a corridor's yes alone, and one whose sign-off
// no longer covers what is found now.
func (d *decision) maySign(sub *recordv1.Submission, so *recordv1.SignOff) error {
	now := so.GetJudgement()
	switch {
	case sub.GetState() == Waiting, onlyCorridor(sub):
		was := sub.GetJudgement()
		if SameInputs(was, now) && (was.GetVerdict() != now.GetVerdict() || !slices.Equal(was.GetWarnings(), now.GetWarnings())) {
			return refuse(ReasonDiffers, "sign_off.judgement", was.GetVerdict(),
				"sign_off.judgement: %s was judged %s from these very inputs, and now %s; submit it again", subName(sub), was.GetVerdict(), now.GetVerdict())
		}
		return nil
	case IsRelease(sub):
		if Worse(sub.GetSignOff().GetJudgement(), now) == "" && sub.GetJudgedWorse() == nil {
			return refuse(ReasonState, "sign_off.submission", Waiting, "%s is %s, and its sign-off still covers what is found; nothing is left to sign", subName(sub), sub.GetState())
		}
		return nil
	}
	return d.wrongState(sub, "sign_off.submission", Waiting)
}

// checkAuthor keeps the author from signing their own: the person counts, whatever key they have by now.
func checkAuthor(who *recordv1.Person, onePerson bool, sub *recordv1.Submission, so *recordv1.SignOff) error {
	own := author(sub) == who.GetName()
	switch {
	case own && !onePerson:
		return refuse(ReasonAuthor, who.GetName(), "somebody else", "%s is by %s, who may not sign their own; somebody else must", subName(sub), author(sub))
	case own && !so.GetByAuthor():
		return refuse(ReasonAuthor, "sign_off.by_author", "true", "sign_off.by_author: %s is by %s; allowed: true, since its author signs", subName(sub), author(sub))
	case !own && so.GetByAuthor():
		return refuse(ReasonNotAuthor, "sign_off.by_author", "false", "sign_off.by_author: %s is by %s; allowed: false, since somebody else signs", subName(sub), author(sub))
	}
	if own || so.GetReason() != "" {
		return checkReason("sign_off.reason", so.GetReason())
	}
	return nil
}

// checkBecause wants one reason for each warning that counts, and no other.
func checkBecause(sub *recordv1.Submission, so *recordv1.SignOff) error {
	keys := so.GetJudgement().GetWarnings()
	var missing []string
	for _, k := range keys {
		if strings.TrimSpace(so.GetBecause()[k]) == "" {
			missing = append(missing, k)
		}
	}
	if len(missing) > 0 {
		return refuse(ReasonBecause, missing[0], "", "%s: a reason is missing for %s; each warning that counts needs one", subName(sub), strings.Join(missing, ", "))
	}
	for _, k := range slices.Sorted(maps.Keys(so.GetBecause())) {
		if !contains(keys, k) {
			return refuse(ReasonBecause, short(k), strings.Join(keys, ", "), "sign_off.because: %q is no warning of %s", short(k), subName(sub))
		}
		if err := checkReason("sign_off.because", so.GetBecause()[k]); err != nil {
			return err
		}
	}
	return nil
}

func applySignOff(c *change) {
	so := c.action.GetSignOff()
	sub := c.changeSub(so.GetJob(), so.GetSubmission(), func(sub *recordv1.Submission) {
		if !onlyCorridor(sub) || Worse(sub.GetJudgement(), so.GetJudgement()) != "" {
			sub.Collected = false // else it was collected by a yes that covers it, and stays so
		}
		sub.SignOff, sub.Signed = so, c.event
		c.signedWith(sub, c.keyID)
		sub.Voided, sub.Latest = false, uint32(c.entry)
		sub.JudgedWorse, sub.JudgedWorseBy = nil, 0
		if sub.GetState() != InCar { // signed again: what is in the car stays in it
			sub.State = Released
		}
	})
	words := "signed off"
	if so.GetByAuthor() {
		words += " by its author"
	}
	c.about(sub, so.GetJudgement().GetVerdict(), "%s %s", subName(sub), words)
}

// signedWith remembers the key of the newest yes to a submission.
func (c *change) signedWith(sub *recordv1.Submission, keyID string) {
	sub.SignedWith = keyID
	c.putText(docSignedWith, join(keyID, sub.GetJob(), sub.GetNumber()), "")
}

// voidSignatures takes back what a key signed, or submitted where a corridor released it, as far as it was not collected. Such a submission
// waits again, or was replaced if a newer one of its author came: it never was released after all.
func (c *change) voidSignatures(keyID string) {
	for _, sub := range c.voidable(keyID) {
		c.changeJob(sub.GetJob(), func(j *recordv1.Job) {
			sub.Voided, sub.State, sub.Latest = true, Waiting, uint32(c.entry)
			for _, newer := range j.GetSubmissions()[sub.GetNumber():] {
				if author(newer) == author(sub) {
					sub.State = Replaced
				}
			}
		})
		what := "sign-off of " + subName(sub)
		if sub.GetSignOff() == nil {
			what = fmt.Sprintf("release of %s by corridor %d", subName(sub), sub.GetByCorridor())
		}
		c.about(sub, "", "%s voided: its key was compromised", what)
	}
}

// voidable are the releases that rest on a key, its sign-off or by a corridor's its submission too, and that nobody collected.
func (s *State) voidable(keyID string) (out []*recordv1.Submission) {
	for _, key := range s.keys(docSignedWith, under(keyID)) {
		job, n, _ := strings.Cut(key, "\x00")
		sub := SubmissionOf(s.job(number(job)), number(n))
		if (sub.GetSignedWith() == keyID || onlyCorridor(sub)) && !sub.GetCollected() && IsRelease(sub) {
			out = append(out, sub)
		}
	}
	return out
}

// Voidable names the releases that would be void if a person's key were compromised.
func (s *State) Voidable(who *recordv1.Person) (out []string) {
	for _, sub := range s.voidable(who.GetKeyId()) {
		out = append(out, subName(sub))
	}
	return out
}
