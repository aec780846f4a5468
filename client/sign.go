package client

import (
	"context"
	"fmt"
	"slices"
	"strings"

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
	_, err = c.act(ctx, d.action, d.report)
	return c.signed(d, err)
}

// Draft is a sign-off that is complete and not yet signed.
type Draft struct {
	// Statement is the exact bytes that will be signed.
	Statement []byte
	Review    *Review

	action *recordv1.Action
	report blob
}

// DraftSignOff draws up a sign-off as SignOff does, and signs nothing.
func (c *Client) DraftSignOff(r *Review, because map[string]string, ask Reasons) (*Draft, error) {
	own, err := c.own(r)
	if err != nil {
		return nil, err
	}
	if err := c.maySign(r, own); err != nil {
		return nil, err
	}
	reasons, err := gather(r, because, own, ask)
	if err != nil {
		return nil, err
	}
	s := &recordv1.SignOff{Job: r.Job.Number, Submission: r.Submission.Number, ImageSha256: r.Submission.Image.Sha256,
		BaseSha256: r.Submission.BaseSha256, Judgement: r.Judgement, ByAuthor: own}
	if own {
		s.Reason = reasons[ByAuthor]
		delete(reasons, ByAuthor)
	}
	s.Because = reasons
	d := &Draft{Review: r, action: &recordv1.Action{Body: &recordv1.Action_SignOff{SignOff: s}}, report: blob{"report", r.report}}
	if _, err := c.complete(d.action); err != nil {
		return nil, err
	}
	d.Statement, err = signoff.Preview(d.action)
	return d, err
}

// SignDraft signs exactly the statement of a draft. It is refused where the ledger has moved on so
// that the statement no longer stands.
func (c *Client) SignDraft(ctx context.Context, d *Draft) (*recordv1.Submission, error) {
	if err := c.Sync(ctx); err != nil {
		return nil, err
	}
	_, err := c.enter(ctx, d.action, d.report)
	return c.signed(d, err)
}

func (c *Client) signed(d *Draft, err error) (*recordv1.Submission, error) {
	if err != nil {
		return nil, err
	}
	s := d.action.GetSignOff()
	sub, ok := c.view().Submission(s.Job, s.Submission)
	if !ok || sub.SignOff == nil {
		return nil, distrust("%s has no sign-off after it was signed", name(d.Review.Submission))
	}
	return sub, nil
}

func (c *Client) own(r *Review) (bool, error) {
	me, err := c.Me()
	return me.GetName() == r.Submission.Submitted.GetPerson(), err
}

// MaySign asks the rules whether this person may sign a reviewed submission, apart from the reasons
// that they still have to give: Needs lists those.
func (c *Client) MaySign(r *Review) error {
	own, err := c.own(r)
	if err != nil {
		return err
	}
	return c.maySign(r, own)
}

// Needs is the keys that a reason is needed for: each warning that counts, and ByAuthor.
func (c *Client) Needs(r *Review) []string {
	need := slices.Clone(r.Judgement.Warnings)
	if own, err := c.own(r); err == nil && own {
		need = append(need, ByAuthor)
	}
	return need
}

// maySign asks the rules about this person before reasons are asked of them.
func (c *Client) maySign(r *Review, own bool) error {
	trial := &recordv1.SignOff{Job: r.Job.Number, Submission: r.Submission.Number, ImageSha256: r.Submission.Image.Sha256,
		BaseSha256: r.Submission.BaseSha256, Judgement: r.Judgement, ByAuthor: own, Because: map[string]string{}}
	for _, key := range r.Judgement.Warnings {
		trial.Because[key] = "asked next"
	}
	if own {
		trial.Reason = "asked next"
	}
	return c.may(&recordv1.Action{Body: &recordv1.Action_SignOff{SignOff: trial}})
}

// gather completes the reasons: one for each warning that counts, and the author's own.
func gather(r *Review, because map[string]string, own bool, ask Reasons) (map[string]string, error) {
	need := slices.Clone(r.Judgement.Warnings)
	if own {
		need = append(need, ByAuthor)
	}
	out := map[string]string{}
	for given, text := range because {
		key, ok := meantKey(need, given)
		if !ok {
			return nil, usage("", "--because %s: no warning of %s has this key%s", given, name(r.Submission), listed("; allowed: ", need))
		}
		if _, twice := out[key]; twice {
			return nil, usage("", "--because: %s is given twice", key)
		}
		out[key] = strings.TrimSpace(text)
	}
	if own && ask == nil && out[ByAuthor] == "" {
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
			return nil, usage("--because '"+key+"=…'", "%s: a reason is missing for %s", name(r.Submission), key)
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

func listed(before string, names []string) string {
	if len(names) == 0 {
		return ""
	}
	return before + strings.Join(names, ", ")
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
	sub, err := c.submission(ctx, job, n)
	if err != nil {
		return nil, err
	}
	_, err = c.act(ctx, &recordv1.Action{Body: &recordv1.Action_Return{Return: &recordv1.Return{
		Job: job, Submission: n, ImageSha256: sub.Image.Sha256, Reason: reason}}})
	if err != nil {
		return nil, err
	}
	sub, _ = c.view().Submission(job, n)
	return sub, nil
}

// Withdraw takes back one's own waiting submission.
func (c *Client) Withdraw(ctx context.Context, job, n uint32) (*recordv1.Submission, error) {
	if _, err := c.submission(ctx, job, n); err != nil {
		return nil, err
	}
	_, err := c.act(ctx, &recordv1.Action{Body: &recordv1.Action_Withdraw{Withdraw: &recordv1.Withdraw{Job: job, Submission: n}}})
	if err != nil {
		return nil, err
	}
	sub, _ := c.view().Submission(job, n)
	return sub, nil
}

func (c *Client) submission(ctx context.Context, job, n uint32) (*recordv1.Submission, error) {
	if err := c.Sync(ctx); err != nil {
		return nil, err
	}
	s, _, err := c.job(job)
	if err != nil {
		return nil, err
	}
	sub, ok := s.Submission(job, n)
	if !ok {
		return nil, usage("witnessmark job show "+itoa(job), "job %d has no submission %d", job, n)
	}
	return sub, nil
}
