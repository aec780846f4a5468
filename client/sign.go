package client

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// Reasons are asked for by finding key; an empty answer is none.
type Reasons func(key, question string) (string, error)

// ByAuthor is the key of the reason that an author gives for signing their own, in a one-person workshop.
const ByAuthor = "by-author"

// SignOff signs a reviewed submission. because holds reasons by finding key; what is missing is
// asked for, and without somebody to ask it is refused.
func (c *Client) SignOff(ctx context.Context, r *Review, because map[string]string, ask Reasons) (*recordv1.Submission, error) {
	d, err := c.DraftSignOff(r, because, ask)
	if err != nil {
		return nil, err
	}
	// Drawn up again, so that it has witnessed the newest checkpoint.
	if _, err := c.act(ctx, &deed{action: d.action, agree: r.agree}); err != nil {
		return nil, err
	}
	return c.Submission(r.Job.GetNumber(), r.Submission.GetNumber())
}

// agree refuses to sign what is not judged as it was when it was reviewed.
func (r *Review) agree(a *recordv1.Action) error {
	now := a.GetSignOff().GetJudgement()
	if now == nil {
		now = a.GetCollect().GetJudgement()
	}
	if !proto.Equal(now, r.Judgement) {
		return refused("%s is not judged any more as it was when you looked (%s then, %s now); look again", Name(r.Submission), r.Judgement.GetVerdict(), now.GetVerdict())
	}
	return nil
}

// Draft is a sign-off that is complete and not yet signed.
type Draft struct {
	// Statement is the exact bytes that will be signed.
	Statement []byte
	Review    *Review

	action *recordv1.Action
}

// SignOff is what the statement says, as a copy.
func (d *Draft) SignOff() *recordv1.SignOff { return proto.CloneOf(d.action.GetSignOff()) }

// DraftSignOff draws up a sign-off as SignOff does, and signs nothing.
func (c *Client) DraftSignOff(r *Review, because map[string]string, ask Reasons) (*Draft, error) {
	if err := c.MaySign(r); err != nil {
		return nil, err
	}
	reasons, err := gather(r, c.Needs(r), because, ask)
	if err != nil {
		return nil, err
	}
	d := &Draft{Review: r}
	if d.action, err = c.signOff(r, reasons); err == nil {
		d.Statement, err = signoff.Preview(d.action)
	}
	return d, err
}

// signOff is complete, with a reason for each key that one is needed for.
func (c *Client) signOff(r *Review, reasons map[string]string) (*recordv1.Action, error) {
	s := &recordv1.SignOff{Job: r.Job.GetNumber(), Submission: r.Submission.GetNumber(), ImageSha256: r.Submission.GetImage().GetSha256(),
		Judgement: r.Judgement, Because: reasons}
	if s.Reason, s.ByAuthor = reasons[ByAuthor]; s.ByAuthor {
		delete(reasons, ByAuthor)
	}
	a := &recordv1.Action{Body: &recordv1.Action_SignOff{SignOff: s}}
	return a, c.complete(a)
}

// SignDraft signs exactly the statement of a draft. It is refused where the ledger has moved on so
// that the statement no longer stands.
func (c *Client) SignDraft(ctx context.Context, d *Draft) (*recordv1.Submission, error) {
	unlock, err := c.begin(ctx, d.action)
	if err != nil {
		return nil, err
	}
	defer unlock()
	made, err := c.claims.Check(source{c: c, ctx: ctx}, d.action, nil)
	if err != nil {
		return nil, refusal(err)
	}
	if _, err := c.enter(ctx, &deed{action: d.action}, made); err != nil {
		return nil, err
	}
	return c.Submission(d.Review.Job.GetNumber(), d.Review.Submission.GetNumber())
}

// MaySign asks the rules whether this person may sign a reviewed submission, apart from the reasons
// that they still have to give: Needs lists those.
func (c *Client) MaySign(r *Review) error {
	trial := map[string]string{}
	for _, key := range c.Needs(r) {
		trial[key] = "asked next"
	}
	a, err := c.signOff(r, trial)
	if err != nil {
		return err
	}
	return c.allowed(a)
}

// Needs is the keys that a reason is needed for: each warning that counts, and ByAuthor.
func (c *Client) Needs(r *Review) []string {
	need := slices.Clone(r.Judgement.Warnings)
	if me, err := c.Me(); err == nil && me.GetName() == r.Submission.GetSubmitted().GetPerson() {
		need = append(need, ByAuthor)
	}
	return need
}

// gather completes the reasons, one for each key that is needed.
func gather(r *Review, need []string, because map[string]string, ask Reasons) (map[string]string, error) {
	out := map[string]string{}
	for given, text := range because {
		key, ok := meantKey(need, given)
		if !ok {
			return nil, usage("", "--because %s: no warning of %s has this key; allowed: %s", given, Name(r.Submission), cmp.Or(strings.Join(need, ", "), "none"))
		}
		if _, twice := out[key]; twice {
			return nil, usage("", "--because: %s is given twice", key)
		}
		out[key] = strings.TrimSpace(text)
	}
	if slices.Contains(need, ByAuthor) && ask == nil && out[ByAuthor] == "" {
		out[ByAuthor] = together(r.Judgement.Warnings, out)
	}
	for _, key := range need {
		if out[key] != "" {
			continue
		}
		if ask != nil {
			text, err := ask(key, question(r, key))
			if err != nil {
				return nil, err
			}
			out[key] = strings.TrimSpace(text)
		}
		if out[key] == "" {
			return nil, usage("--because '"+key+"=…'", "%s: a reason is missing for %s", Name(r.Submission), key)
		}
	}
	return out, nil
}

// meantKey is the key that was given, or the only one of the rule that was given.
func meantKey(need []string, given string) (string, bool) {
	if slices.Contains(need, given) {
		return given, true
	}
	found, n := "", 0
	for _, key := range need {
		if strings.HasPrefix(key, given+":") {
			found, n = key, n+1
		}
	}
	return found, n == 1
}

// together is what an author who gave a reason for every warning, and no other, signs for; empty
// where there is none.
func together(keys []string, reasons map[string]string) string {
	var texts []string
	for _, key := range keys {
		if reasons[key] == "" {
			return ""
		}
		if !slices.Contains(texts, reasons[key]) {
			texts = append(texts, reasons[key])
		}
	}
	return strings.Join(texts, "; ")
}

// question is what the finding of a key says.
func question(r *Review, key string) string {
	if key == ByAuthor {
		return "you are the author; why do you sign it yourself?"
	}
	for _, f := range r.Report.Findings {
		if Key(f) != key {
			continue
		}
		text := f.Severity + ": " + f.Reason
		if w := f.Worst; w != nil && w.Value != nil && w.Limit != nil {
			text += fmt.Sprintf(" (found %g, limit %g)", *w.Value, *w.Limit)
		}
		return text
	}
	return ""
}

// ReturnSubmission is the signed no: to a waiting submission, or to a release.
func (c *Client) ReturnSubmission(ctx context.Context, job, n uint32, reason string) (*recordv1.Submission, error) {
	if err := c.Sync(ctx); err != nil {
		return nil, err
	}
	sub, err := c.Submission(job, n)
	if err != nil {
		return nil, err
	}
	return c.actOnSub(ctx, job, n, &recordv1.Action{Body: &recordv1.Action_Return{Return: &recordv1.Return{
		Job: job, Submission: n, ImageSha256: sub.GetImage().GetSha256(), Reason: reason}}})
}

// Withdraw takes back one's own waiting submission.
func (c *Client) Withdraw(ctx context.Context, job, n uint32) (*recordv1.Submission, error) {
	return c.actOnSub(ctx, job, n, &recordv1.Action{Body: &recordv1.Action_Withdraw{Withdraw: &recordv1.Withdraw{Job: job, Submission: n}}})
}

func (c *Client) actOnSub(ctx context.Context, job, n uint32, a *recordv1.Action) (*recordv1.Submission, error) {
	if _, err := c.act(ctx, &deed{action: a}); err != nil {
		return nil, err
	}
	return c.Submission(job, n)
}
