package record

import (
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
		c.forgetBytes(n, e.GetImages())
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

// forgetBytes deletes the files of a job's notes and, if asked, its images, runs and what reports say
// of them, unless another job names them.
func (c *change) forgetBytes(job uint32, imagesToo bool) {
	var gone []string
	for _, sha := range c.keys(docJobBlob, under(job)) {
		what, _ := c.text(docJobBlob, join(job, sha))
		if What(what) != ANoteFile && !imagesToo {
			continue
		}
		c.drop(docJobBlob, join(job, sha))
		c.drop(docBlobJob, join(sha, job))
		if len(c.keys(docBlobJob, under(sha))) == 0 {
			c.drop(docImage, sha)
			gone = append(gone, sha)
		}
	}
	if c.err == nil {
		c.fail(store.EraseBlobs(c.w, gone))
	}
}
