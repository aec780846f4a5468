package desk

import (
	"crypto/sha256"
	"fmt"
	"net/http"
	"strings"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

type draftBody struct {
	ID        string
	Review    *client.Review
	At        string
	Statement string
	SHA256    string
	SignOff   *recordv1.SignOff
}

// draft draws a sign-off up and shows exactly what would be signed. Nothing is signed yet.
func (d *Desk) draft(w http.ResponseWriter, r *http.Request) error {
	p, sheet, err := d.sheetOf(r)
	if err != nil {
		return err
	}
	because := map[string]string{}
	for i := range sheet.Needs {
		n := &sheet.Needs[i]
		n.Value = strings.TrimSpace(r.PostFormValue("because:" + n.Key))
		if n.Value != "" {
			because[n.Key] = n.Value
		}
	}
	made, err := d.client.DraftSignOff(sheet.Review, because, nil)
	if err != nil {
		p.Problem = d.plain(err)
		p.Title = "Not drawn up: " + p.Title
		d.show(w, r, http.StatusUnprocessableEntity, "sheet", p, sheet)
		return nil
	}
	p.Title = "Sign " + client.Name(sheet.Sub)
	d.showDraft(w, r, p, d.drafts.put(made), made, http.StatusOK)
	return nil
}

func (d *Desk) showDraft(w http.ResponseWriter, r *http.Request, p page, id string, made *client.Draft, status int) {
	sum := sha256.Sum256(made.Statement)
	b := draftBody{ID: id, Review: made.Review, At: "/sheet/" + client.Name(made.Review.Submission), Statement: string(made.Statement), SHA256: fmt.Sprintf("%x", sum), SignOff: made.SignOff()}
	d.show(w, r, status, "draft", p, b)
}

// sign signs a draft, once the person confirmed it.
func (d *Desk) sign(w http.ResponseWriter, r *http.Request) error {
	id := r.PostFormValue("draft")
	made, ok := d.drafts.get(id)
	if !ok {
		return &client.Error{Kind: client.Refused, Text: "this statement is not here any more; it was signed, or is older than a quarter of an hour",
			Hint: "go back to the sheet and draw it up again"}
	}
	s := made.Review.Submission
	what := fmt.Sprintf("sign off %s of %s, a %s, image %s", client.Name(s), made.Review.Job.Car, verdictWord(made.Review.Judgement.Verdict), short(s.Image.GetSha256()))
	if err := d.confirm.Confirm(r.Context(), what, r.PostFormValue("passphrase")); err != nil {
		p := d.base(r, "Not signed: "+client.Name(s))
		p.Problem = d.plain(err)
		d.showDraft(w, r, p, id, made, http.StatusForbidden)
		return nil
	}
	d.drafts.drop(id)
	done, err := d.client.SignDraft(r.Context(), made)
	if err != nil {
		return err
	}
	d.away(w, r, "/sheet/"+client.Name(done), fmt.Sprintf("You signed off %s. It is %s.", client.Name(done), done.State))
	return nil
}

func verdictWord(v string) string {
	if v == "clear" {
		return "submission found clear"
	}
	return v
}

// confirmed asks for this one signature; the error says why not.
func (d *Desk) confirmed(r *http.Request, what string) error {
	if err := d.confirm.Confirm(r.Context(), what, r.FormValue("passphrase")); err != nil {
		return &client.Error{Kind: client.Refused, Err: err}
	}
	return nil
}

// sendBack is the signed no.
func (d *Desk) sendBack(w http.ResponseWriter, r *http.Request) error {
	return d.onSheet(w, r, func(job, n uint32) (string, error) {
		reason := strings.TrimSpace(r.PostFormValue("reason"))
		if reason == "" {
			return "", &client.Error{Kind: client.Usage, Text: "nothing was returned: say why, so that its author can act on it"}
		}
		if err := d.confirmed(r, fmt.Sprintf("return %d.%d: %s", job, n, reason)); err != nil {
			return "", err
		}
		_, err := d.client.ReturnSubmission(r.Context(), job, n, reason)
		return fmt.Sprintf("You returned %d.%d.", job, n), err
	})
}

func (d *Desk) withdraw(w http.ResponseWriter, r *http.Request) error {
	return d.onSheet(w, r, func(job, n uint32) (string, error) {
		if err := d.confirmed(r, fmt.Sprintf("withdraw %d.%d", job, n)); err != nil {
			return "", err
		}
		_, err := d.client.Withdraw(r.Context(), job, n)
		return fmt.Sprintf("You withdrew %d.%d.", job, n), err
	})
}

// onSheet does something to a submission; what is refused is said on its sheet.
func (d *Desk) onSheet(w http.ResponseWriter, r *http.Request, do func(job, n uint32) (string, error)) error {
	job, n, err := subOf(r)
	if err != nil {
		return err
	}
	note, err := do(job, n)
	if err == nil {
		d.away(w, r, fmt.Sprintf("/sheet/%d.%d", job, n), note)
		return nil
	}
	p, b, again := d.sheetOf(r)
	if again != nil {
		return err
	}
	p.Problem, p.Hint, p.Title = d.plain(err), hint(err), "Not done: "+p.Title
	d.show(w, r, statusOf(r, err), "sheet", p, b)
	return nil
}
