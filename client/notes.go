package client

import (
	"context"
	"path/filepath"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// maxNote bounds a file that goes with a note.
const maxNote = 64 << 20

// NewNote is what somebody has to say.
type NewNote struct {
	// About is a job or a submission.
	About record.Name
	Table string
	Text  string
	Files []string // paths
}

// AddNote adds a note. A table is one of the job's definition, as that is now.
func (c *Client) AddNote(ctx context.Context, n NewNote) (*recordv1.Job, error) {
	if n.About.Part != record.TheJob && n.About.Part != record.ASubmission {
		return nil, usage("", "a note is about a job or a submission, and %s is neither", n.About)
	}
	if strings.TrimSpace(n.Text) == "" {
		return nil, usage("", "a note needs a text")
	}
	d := &deed{}
	note := &recordv1.AddNote{Job: n.About.Job, Submission: n.About.N, Table: n.Table, Text: d.seal("text", n.Text)}
	for _, path := range n.Files {
		b, err := ReadBounded(path, maxNote)
		if err != nil {
			return nil, err
		}
		note.Files = append(note.Files, &recordv1.NoteFile{Sha256: d.bring(path, b), Name: d.seal("name", filepath.Base(path))})
	}
	d.action = &recordv1.Action{Body: &recordv1.Action_Note{Note: note}}
	return c.actOn(ctx, n.About.Job, d)
}

// NoteFile is a file that went with a note.
func (c *Client) NoteFile(ctx context.Context, f *recordv1.NotedFile) ([]byte, error) {
	return c.download(ctx, "a note's file", f.GetSha256())
}
