package record

import (
	"maps"
	"slices"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/signoff"
)

var erase = &kind{
	name:   "erase",
	target: latestOf("erase"),
	closed: true,
	decide: func(d *decision) error {
		e := d.action.GetErase()
		j := d.job(e.GetJob())
		switch {
		case j.GetState() != closed:
			return refuse(ReasonState, "erase.job", "", "job %d is open; close it first", e.GetJob())
		case j.GetErased() != nil && (j.GetImagesErased() || !e.GetImages()):
			return refuse(ReasonNoChange, "erase.job", "", "job %d was erased already", e.GetJob())
		}
		return checkReason("erase.because", e.GetBecause())
	},
	apply: func(c *change) {
		e := c.action.GetErase()
		n := e.GetJob()
		c.changeJob(n, func(j *recordv1.Job) {
			j.Erased, j.Latest = c.event, uint32(c.entry)
			j.ImagesErased = j.GetImagesErased() || e.GetImages()
		})
		c.forgetTexts(n)
		c.unname(n, e.GetImages())
		c.tell(n, 0, "", "", "job %d erased: %s", n, e.GetBecause())
	},
}

// entered visits what was entered in a job, as its events tell.
func (c *change) entered(job uint32, fn func(*recordv1.Action)) {
	last := ""
	for _, key := range c.keys(docEvent, under(job)) {
		index, _, _ := strings.Cut(key, "\x00")
		if index == last || c.err != nil {
			continue
		}
		last = index
		entry, err := c.tx.Entry(uint64(number(index)))
		var envelope []byte
		if err == nil {
			envelope, _, err = EnvelopeOf(entry)
		}
		var signed *signoff.Signed
		if err == nil {
			signed, err = c.Open(envelope)
		}
		if err != nil {
			c.fail(err)
			return
		}
		fn(signed.Action)
	}
}

// forgetTexts deletes the openings of a job. That they were sealed stays known.
func (c *change) forgetTexts(job uint32) {
	c.entered(job, func(a *recordv1.Action) {
		for _, seal := range signoff.Commitments(a) {
			c.drop(docOpening, seal.Commitment)
			c.drop(docLacking, seal.Commitment)
		}
	})
}

// unname takes back that a job names the files of its notes and, if asked, its images, runs and what
// reports say of them. A note's file that is one of those too is one of those.
func (c *change) unname(job uint32, imagesToo bool) {
	what := map[string]What{}
	c.entered(job, func(a *recordv1.Action) {
		for _, b := range Brings(a) {
			if what[b.SHA256] == "" || b.What != ANoteFile {
				what[b.SHA256] = b.What
			}
		}
	})
	for _, sha := range slices.Sorted(maps.Keys(what)) {
		if what[sha] != ANoteFile && !imagesToo {
			continue
		}
		c.drop(docBlobJob, join(sha, job))
		if !c.isNamed(sha) {
			c.drop(docImage, sha)
			c.forgotten[sha] = true
		}
	}
}

// isNamed says whether a job or the catalogue has these bytes.
func (s *State) isNamed(sha string) bool {
	_, definition := s.ByHash(Definitions, sha)
	_, limits := s.ByHash(Limits, sha)
	return definition || limits || len(s.keys(docBlobJob, under(sha))) > 0
}

// forget deletes the blobs that were erased. It is done last: a later entry, which is applied in the
// same transaction or is there already when documents are made again, may name one anew.
func (s *State) forget() {
	gone := slices.DeleteFunc(slices.Sorted(maps.Keys(s.forgotten)), s.isNamed)
	if len(gone) > 0 && s.err == nil {
		s.fail(store.EraseBlobs(s.w, gone))
	}
	clear(s.forgotten)
}
