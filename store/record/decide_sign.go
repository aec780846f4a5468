package record

import (
	"fmt"
	"slices"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// States of a submission.
const (
	waiting   = "waiting"
	returned  = "returned"
	withdrawn = "withdrawn"
	replaced  = "replaced"
	released  = "released"
	inCar     = "in car"
)

// sub finds submission n of a job; nil where there is none.
func (j *job) sub(n uint32) *submission {
	if j == nil || n == 0 || uint64(n) > uint64(len(j.subs)) {
		return nil
	}
	return j.subs[n-1]
}

// subAt finds the submission that an action names.
func (s *State) subAt(at string, job, n uint32) (*submission, error) {
	j, err := s.jobAt(at+".job", job)
	if err != nil {
		return nil, err
	}
	if sub := j.sub(n); sub != nil {
		return sub, nil
	}
	return nil, refuse(ReasonNotFound, at+".submission", "", "%s.submission: job %d has no submission %d; allowed: 1 to %d", at, job, n, len(j.subs))
}

func (sub *submission) id() string {
	return fmt.Sprintf("%d.%d", sub.msg.GetJob(), sub.msg.GetNumber())
}

func (sub *submission) author() string { return sub.msg.GetSubmitted().GetPerson() }

// isReleased says whether it was released and not recalled since.
func (sub *submission) isReleased() bool {
	return sub.msg.GetState() == released || sub.msg.GetState() == inCar
}

// wrongState refuses with what became of the submission.
func (sub *submission) wrongState(at, wanted string) error {
	state := sub.msg.GetState()
	text := state
	switch state {
	case returned:
		text = fmt.Sprintf("returned by %s", sub.msg.GetReturned().GetPerson())
	case replaced:
		text = fmt.Sprintf("replaced by %d.%d", sub.msg.GetJob(), sub.msg.GetNumber()+1)
	case released, inCar:
		if sub.job.release != sub.msg.GetNumber() {
			text = fmt.Sprintf("%s, and there was a newer release", state)
		}
	}
	return refuse(ReasonState, at, wanted, "%s is %s; allowed: %s", sub.id(), text, wanted)
}

func (sub *submission) sameImage(at, sha256 string) error {
	if have := sub.msg.GetImage().GetSha256(); sha256 != have {
		return refuse(ReasonOtherImage, at+".image_sha256", have, "%s.image_sha256: is %q; allowed: the image of %s, %s", at, short(sha256), sub.id(), have)
	}
	return nil
}

func (d *decision) signOff() error {
	so := d.action.GetSignOff()
	sub, err := d.subAt("sign_off", so.GetJob(), so.GetSubmission())
	if err != nil {
		return err
	}
	if err := sub.sameImage("sign_off", so.GetImageSha256()); err != nil {
		return err
	}
	if so.GetBaseSha256() != sub.msg.GetBaseSha256() {
		return refuse(ReasonNotOriginal, "sign_off.base_sha256", sub.msg.GetBaseSha256(),
			"sign_off.base_sha256: is %q; allowed: the base of %s, %s", short(so.GetBaseSha256()), sub.id(), sub.msg.GetBaseSha256())
	}
	if err := d.judgement("sign_off.judgement", sub.job, so.GetJudgement()); err != nil {
		return err
	}
	for _, check := range []func(*submission, *recordv1.SignOff) error{d.maySign, d.author, d.signedVerdict, d.because} {
		if err := check(sub, so); err != nil {
			return err
		}
	}
	return nil
}

// maySign allows a waiting submission, and the newest release whose sign-off no longer covers
// what the newest revisions say.
func (d *decision) maySign(sub *submission, so *recordv1.SignOff) error {
	now := so.GetJudgement()
	switch {
	case sub.msg.GetState() == waiting:
		if was := sub.msg.GetJudgement(); sameRevisions(was, now) && !sameOutcome(was, now) {
			return refuse(ReasonDiffers, "sign_off.judgement", was.GetVerdict(),
				"sign_off.judgement: %s was judged %s by these very revisions, and now %s; submit it again", sub.id(), was.GetVerdict(), now.GetVerdict())
		}
		return nil
	case sub.isReleased() && sub.job.release == sub.msg.GetNumber():
		if worse(sub.msg.GetSignOff().GetJudgement(), now) == "" {
			return refuse(ReasonState, "sign_off.submission", waiting, "%s is %s, and its sign-off still covers what is found; nothing is left to sign", sub.id(), sub.msg.GetState())
		}
		return nil
	}
	return sub.wrongState("sign_off.submission", waiting)
}

func sameRevisions(a, b *recordv1.Judgement) bool {
	return a.GetDefinition().GetSha256() == b.GetDefinition().GetSha256() && a.GetLimits().GetSha256() == b.GetLimits().GetSha256()
}

func sameOutcome(a, b *recordv1.Judgement) bool {
	return a.GetVerdict() == b.GetVerdict() && slices.Equal(a.GetWarnings(), b.GetWarnings())
}

// worse says what makes a new sign-off necessary: "verdict", or the first warning that has no
// reason yet; empty where the one that was signed is enough.
func worse(signed, now *recordv1.Judgement) string {
	if verdictRank[now.GetVerdict()] > verdictRank[signed.GetVerdict()] {
		return "verdict"
	}
	for _, k := range now.GetWarnings() {
		if !contains(signed.GetWarnings(), k) {
			return k
		}
	}
	return ""
}

// author keeps the author from signing their own: the person counts, whatever key they have by now.
func (d *decision) author(sub *submission, so *recordv1.SignOff) error {
	own := sub.author() == d.who.msg.GetName()
	switch {
	case own && !d.Genesis.GetOnePerson():
		return refuse(ReasonAuthor, d.who.msg.GetName(), "somebody else", "%s is by %s, who may not sign their own; somebody else must", sub.id(), sub.author())
	case own && !so.GetByAuthor():
		return refuse(ReasonAuthor, "sign_off.by_author", "true", "sign_off.by_author: %s is by %s; allowed: true, since its author signs", sub.id(), sub.author())
	case !own && so.GetByAuthor():
		return refuse(ReasonNotAuthor, "sign_off.by_author", "false", "sign_off.by_author: %s is by %s; allowed: false, since somebody else signs", sub.id(), sub.author())
	}
	if own || so.GetReason() != "" {
		return checkReason("sign_off.reason", so.GetReason())
	}
	return nil
}

func (d *decision) signedVerdict(sub *submission, so *recordv1.SignOff) error {
	switch so.GetJudgement().GetVerdict() {
	case "danger":
		return refuse(ReasonDanger, "sign_off.judgement.verdict", "", "%s is danger, which nobody signs; return it, or give the limits a new revision", sub.id())
	case "warning":
		if !d.who.has(lead) {
			return d.needs(lead)
		}
	}
	return nil
}

// because wants one reason for each warning that counts, and no other.
func (d *decision) because(sub *submission, so *recordv1.SignOff) error {
	keys := so.GetJudgement().GetWarnings()
	var missing []string
	for _, k := range keys {
		if strings.TrimSpace(so.GetBecause()[k]) == "" {
			missing = append(missing, k)
		}
	}
	if len(missing) > 0 {
		return refuse(ReasonBecause, missing[0], "", "%s: a reason is missing for %s; each warning that counts needs one", sub.id(), strings.Join(missing, ", "))
	}
	for _, k := range sortedKeys(so.GetBecause()) {
		if !contains(keys, k) {
			return refuse(ReasonBecause, short(k), strings.Join(keys, ", "), "sign_off.because: %q is no warning of %s", short(k), sub.id())
		}
		if err := checkReason("sign_off.because", so.GetBecause()[k]); err != nil {
			return err
		}
	}
	return nil
}

// giveBack is a return of what waits, or the recall of a release.
func (d *decision) giveBack() error {
	r := d.action.GetReturn()
	sub, err := d.subAt("return", r.GetJob(), r.GetSubmission())
	if err != nil {
		return err
	}
	if sub.msg.GetState() != waiting && !sub.isReleased() {
		return sub.wrongState("return.submission", "waiting, released, in car")
	}
	if err := sub.sameImage("return", r.GetImageSha256()); err != nil {
		return err
	}
	return checkReason("return.reason", r.GetReason())
}

func (d *decision) withdraw() error {
	w := d.action.GetWithdraw()
	sub, err := d.subAt("withdraw", w.GetJob(), w.GetSubmission())
	if err != nil {
		return err
	}
	if sub.author() != d.who.msg.GetName() {
		return refuse(ReasonNotAuthor, d.who.msg.GetName(), sub.author(), "%s is by %s, who alone can withdraw it; anybody can return it", sub.id(), sub.author())
	}
	if sub.msg.GetState() != waiting {
		return sub.wrongState("withdraw.submission", waiting)
	}
	return nil
}
