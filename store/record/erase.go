package record

import (
	"maps"
	"slices"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
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
			c.forgetTexts(n)
		})
		c.unname(n, e.GetImages())
		c.tell(n, 0, "", "", "job %d erased: %s", n, e.GetBecause())
	},
}

// forgetTexts deletes the openings of a job. That they were sealed stays known.
func (c *change) forgetTexts(job uint32) {
	for _, commitment := range c.keys(docJobSealed, under(job)) {
		c.drop(docOpening, commitment)
		c.drop(docLacking, commitment)
	}
}

// unname takes back that a job names the files of its notes and, if asked, its images, runs and what
// reports say of them.
func (c *change) unname(job uint32, imagesToo bool) {
	for _, sha := range c.keys(docJobBlob, under(job)) {
		if what, _ := c.text(docJobBlob, join(job, sha)); What(what) != ANoteFile && !imagesToo {
			continue
		}
		c.drop(docJobBlob, join(job, sha))
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
