package client

import (
	"context"
	"fmt"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/claims"
	"witnessmark/store/record"
	"witnessmark/tables/image"
)

// Bay is one job as whoever writes to its car has it before them.
type Bay struct {
	Job *recordv1.Job
	// Release is what is collected where nobody says which. It is nil where there is none, and None says why.
	Release *recordv1.Submission
	None    error
	// Corridor is the one that is open; nil for none.
	Corridor *recordv1.Corridor
	// Last is what was collected last, nil for nothing, and LastOf its submission, nil of the read as found.
	Last   *recordv1.Collection
	LastOf *recordv1.Submission
	// Owed says that nothing was read back since Last.
	Owed bool
	// Recalled is the alarm that LastOf was recalled and may be in the car; nil for none.
	Recalled *recordv1.Alarm
}

// Bay is what the copy says of a job.
func (c *Client) Bay(job uint32) (*Bay, error) {
	return look(c, func(s *record.State) (*Bay, error) {
		j, err := jobIn(s, job)
		if err != nil {
			return nil, err
		}
		b := &Bay{Job: j}
		if b.Release, err = s.Release(job); err != nil {
			b.None = refusal(err)
		}
		b.Corridor = record.OpenIn(j)
		list := j.GetCollections()
		if len(list) == 0 {
			return b, nil
		}
		b.Last = list[len(list)-1]
		b.LastOf = record.SubmissionOf(j, b.Last.GetSubmission())
		backs := j.GetReadBacks()
		b.Owed = len(backs) == 0 || backs[len(backs)-1].GetAdded().GetEntry() < b.Last.GetCollected().GetEntry()
		for _, a := range s.Alarms(job) {
			if b.LastOf != nil && a.GetAlarm() == record.Recalled && a.GetAbout() == Name(b.LastOf) {
				b.Recalled = a
			}
		}
		return b, nil
	})
}

// LastName is what was collected last, as people call it.
func (b *Bay) LastName() string {
	if b.LastOf == nil {
		return record.Name{Job: b.Job.GetNumber(), Part: record.ARead, N: record.AsFound(b.Job).GetNumber()}.String()
	}
	return Name(b.LastOf)
}

// First says what has to be done before the release is collected, as somebody does who follows a job; empty for
// nothing. What a corridor released may wait for its read-back, where that is asked for.
func (b *Bay) First(notReadBack bool) string {
	if !b.Owed || b.Recalled != nil {
		return ""
	}
	text := fmt.Sprintf("%s was collected and is not read back yet: witnessmark readback %d FILE", b.LastName(), b.Job.GetNumber())
	if !notReadBack {
		return text
	}
	for _, sub := range []*recordv1.Submission{b.LastOf, b.Release} {
		if sub.GetByCorridor() == 0 {
			return text + "; only what a corridor released may follow another that was not"
		}
	}
	return ""
}

// Foreseen is how a submission that was looked at by Preview lies to the corridor that covers now; nil where none does.
func (r *Review) Foreseen() *claims.Corridor { return r.made.Corridor }

// File is a submission's image as a file of a kind.
func (r *Review) File(format image.Format) ([]byte, error) { return r.made.Candidate.Encode(format) }

// StartOf is the submission that a corridor starts from; nil where that is the read as found, or there is no corridor.
func (c *Client) StartOf(ctx context.Context, corridor *recordv1.Corridor) (*Review, error) {
	if corridor.GetAsked().GetFrom() == 0 {
		return nil, nil
	}
	return c.Review(ctx, corridor.GetJob(), corridor.GetAsked().GetFrom())
}

// CrashLeft says whether what stands beside a release's file that is not there is what a collection left that
// was cut off: a proof of that same release.
func (c *Client) CrashLeft(path string, r *Review) bool {
	v, err := VerifyProof(c.own.home, path+proofEnding, "")
	return err == nil && v.Submission.GetImage().GetSha256() == r.Submission.GetImage().GetSha256()
}
