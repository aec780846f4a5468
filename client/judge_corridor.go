package client

import (
	"errors"
	"fmt"
	"maps"
	"slices"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// States of a corridor.
const (
	corridorOpen   = "open"
	corridorClosed = "closed"
)

// opens takes in a yes in advance, which starts from what the proof itself holds.
func (j *judge) opens(o *recordv1.OpenCorridor, who *recordv1.Person, event *recordv1.Event) error {
	if err := record.CheckCorridor(who, j.onePerson, o); err != nil {
		return err
	}
	if record.StartOf(j.job, o).GetSha256() != o.GetFromSha256() || record.StartEnded(j.job, o) != "" {
		return errors.New("its corridor starts from an image that the proof does not have")
	}
	j.closes(uint32(len(j.job.GetCorridors())), 0) // one at most is open
	j.job.Corridors = append(j.job.Corridors, &recordv1.Corridor{Job: j.job.GetNumber(), Number: uint32(len(j.job.GetCorridors()) + 1),
		Asked: o, Opened: event, SignedWith: who.GetKeyId(), State: corridorOpen})
	return nil
}

// release has the corridor that a submission names release it, or keeps why it does not.
func (j *judge) release(sub *recordv1.Submission, leaf string) {
	c := record.CorridorOf(j.job, sub.GetCorridor().GetCorridor())
	if err := j.covers(c, sub); err != nil {
		j.uncovered[sub.GetNumber()] = err
		return
	}
	sub.State, sub.ByCorridor = record.Released, c.GetNumber()
	c.Released++
	j.signedAt[sub.GetNumber()] = leaf
}

// covers says why a corridor does not cover a submission, as far as few entries tell.
func (j *judge) covers(c *recordv1.Corridor, sub *recordv1.Submission) error {
	if c.GetState() != corridorOpen {
		return errors.New("the one that it names is not open")
	}
	asked, signer := c.GetAsked(), j.people[c.GetOpened().GetPerson()]
	by := sub.GetJudgement()
	switch {
	case c.GetReleased() >= asked.GetMaps():
		return fmt.Errorf("its maps, %d, were used up", asked.GetMaps())
	case signer.GetRetired() || signer.GetKeyId() != c.GetSignedWith() || !slices.Contains(signer.GetRoles(), signoff.RoleName(recordv1.Role_ROLE_LEAD)):
		return fmt.Errorf("%s, who signed it, could sign none any more", signer.GetName())
	case record.StartEnded(j.job, asked) != "":
		return errors.New("what it starts from was taken back")
	case asked.GetDefinition().GetSha256() != by.GetDefinition().GetSha256() || asked.GetLimits().GetSha256() != by.GetLimits().GetSha256() ||
		asked.GetFuel() != by.GetFuel() || !maps.Equal(asked.GetNumbers(), by.GetNumbers()):
		return errors.New("it is for other revisions, fuel or numbers")
	}
	if sub.NotCovered = record.NotCovered(j.job, c, sub); sub.NotCovered != "" {
		return errors.New(NotCovered(j.job, sub))
	}
	return nil
}

// closes ends a corridor; with keep, its other releases that have no sign-off of their own are none any more.
func (j *judge) closes(n, keep uint32) {
	c := record.CorridorOf(j.job, n)
	if c == nil {
		return
	}
	c.State = corridorClosed
	for _, sub := range j.job.GetSubmissions() {
		if keep != 0 && sub.GetNumber() != keep && sub.GetByCorridor() == n && sub.GetSignOff() == nil && record.IsRelease(sub) {
			sub.State = record.Replaced
		}
	}
}
