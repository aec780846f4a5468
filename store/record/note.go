package record

import recordv1 "witnessmark/proto/witnessmark/record/v1"

const maxNoteFiles = 20

var addNote = &kind{
	name:   "note",
	target: latestOf("note"),
	closed: true,
	decide: func(d *decision) error {
		n := d.action.GetNote()
		if n.GetSubmission() != 0 {
			if _, err := d.subAt("note", n.GetJob(), n.GetSubmission()); err != nil {
				return err
			}
		}
		if n.GetTable() != "" {
			if err := checkLine("note.table", n.GetTable(), maxShort); err != nil {
				return err
			}
		}
		if n.GetText().GetCommitment() == "" {
			return badValue("note.text", "a sealed text", "missing")
		}
		if len(n.GetFiles()) > maxNoteFiles {
			return badValue("note.files", "at most 20", "there are %d", len(n.GetFiles()))
		}
		for _, f := range n.GetFiles() {
			if err := checkHash("note.files.sha256", f.GetSha256()); err != nil {
				return err
			}
			if f.GetName().GetCommitment() == "" {
				return badValue("note.files.name", "a sealed name", "missing")
			}
		}
		return nil
	},
	apply: func(c *change) {
		n := c.action.GetNote()
		c.changeJob(n.GetJob(), func(j *recordv1.Job) {
			note := &recordv1.Note{Submission: n.GetSubmission(), Table: n.GetTable(), Text: shut(n.GetText()), Added: c.event}
			for _, f := range n.GetFiles() {
				note.Files = append(note.Files, &recordv1.NotedFile{Sha256: f.GetSha256(), Size: f.GetSize(), Name: shut(f.GetName())})
			}
			j.Notes = append(j.Notes, note)
		})
		c.tell(n.GetJob(), n.GetSubmission(), "", "", "a note")
	},
	brings: func(a *recordv1.Action) (out []Brought) {
		for _, f := range a.GetNote().GetFiles() {
			out = append(out, Brought{SHA256: f.GetSha256(), What: ANoteFile})
		}
		return out
	},
}
