package desk

import (
	"crypto/sha256"
	"fmt"
	"net/http"
	"slices"
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
		n.Value = said(r, "because:"+n.Key)
		if n.Value != "" {
			because[n.Key] = n.Value
		}
	}
	made, err := d.client.DraftSignOff(sheet.Review, because, nil)
	if err != nil {
		p.Problem = d.plain(err)
		p.Title = "Not drawn up: " + p.Title
		d.show(w, p, http.StatusUnprocessableEntity, "sheet", sheet)
		return nil
	}
	p.Title = "Sign " + client.Name(sheet.Sub)
	d.showDraft(w, p, d.drafts.put(made), made, http.StatusOK)
	return nil
}

func (d *Desk) showDraft(w http.ResponseWriter, p page, id string, made *client.Draft, status int) {
	sum := sha256.Sum256(made.Statement)
	b := draftBody{ID: id, Review: made.Review, At: "/sheet/" + client.Name(made.Review.Submission), Statement: string(made.Statement), SHA256: fmt.Sprintf("%x", sum), SignOff: made.SignOff()}
	d.show(w, p, status, "draft", b)
}

// sign signs a draft, once the person confirmed it.
func (d *Desk) sign(w http.ResponseWriter, r *http.Request) error {
	id := r.PostFormValue("draft")
	made, ok := d.drafts.get(id)
	if !ok {
		return &client.Error{Kind: client.Refused, Text: "this statement is not here any more; it was signed, or is older than a quarter of an hour",
			Try: "go back to the sheet and draw it up again"}
	}
	s := made.Review.Submission
	what := fmt.Sprintf("sign off %s of %s, a %s, image %s", client.Name(s), text(made.Review.Job.GetPlate()), verdictWord(made.Review.Judgement.Verdict), short(s.Image.GetSha256()))
	if err := d.confirm.Confirm(r.Context(), what, r.PostFormValue("passphrase")); err != nil {
		p := d.base(r, "Not signed: "+client.Name(s))
		p.Problem = d.plain(err)
		d.showDraft(w, p, id, made, http.StatusForbidden)
		return nil
	}
	d.drafts.drop(id)
	done, err := d.client.SignDraft(r.Context(), made)
	if err != nil {
		return err
	}
	d.away(w, r, "/sheet/"+client.Name(done), note{Text: fmt.Sprintf("You signed off %s. It is %s.", client.Name(done), done.GetState())})
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
		reason, err := d.reasonOf(r, job, n)
		if err != nil {
			return "", err
		}
		if err := d.confirmed(r, fmt.Sprintf("return %d.%d: %s", job, n, reason)); err != nil {
			return "", err
		}
		_, err = d.client.ReturnSubmission(r.Context(), job, n, reason)
		return fmt.Sprintf("You returned %d.%d.", job, n), err
	})
}

// reasonOf is what was written for a return, and a line for each ticked finding. A page whose script
// runs writes those lines into the text, where they can be changed, and sends no ticks.
func (d *Desk) reasonOf(r *http.Request, job, n uint32) (string, error) {
	lines := []string{said(r, "reason")}
	if len(r.PostForm["finding"]) > 0 {
		rev, err := d.client.Review(r.Context(), job, n)
		if err != nil {
			return "", err
		}
		for _, f := range rev.Report.GetFindings() {
			if key := client.Key(f); slices.Contains(r.PostForm["finding"], key) {
				lines = append(lines, comparisonOf(rev).Sentence(key, f))
			}
		}
	}
	reason := strings.TrimSpace(strings.Join(lines, "\n"))
	if reason == "" {
		return "", &client.Error{Kind: client.Usage, Text: "nothing was returned: say why, so that its author can act on it"}
	}
	return reason, nil
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
	before := d.client.Head().Size
	said, err := do(job, n)
	if err == nil {
		d.away(w, r, fmt.Sprintf("/sheet/%d.%d", job, n), d.raised(job, before, said))
		return nil
	}
	p, b, again := d.sheetOf(r)
	if again != nil {
		return err
	}
	d.show(w, p.refused(d, err), statusOf(r, err), "sheet", b)
	return nil
}
