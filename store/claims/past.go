package claims

import (
	"errors"
	"fmt"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/record"
	"witnessmark/tables/image"
)

// ErrErased is bytes that a claim needs and that were erased.
var ErrErased = errors.New("erased")

// Past is a Source that looks back at entries, one after the other, from a time when less was erased. Texts
// that were may be missing, and what depends on them is left as the action says it.
type Past struct {
	Source // the record as it was before the entry, and what is left of the bytes
	// Named are the bytes that entries brought so far, and who did.
	Named  map[string][]brought
	erased map[uint32]bool // jobs; true of those whose images were, too
	rules  uint32          // of comparing, by which reports were made when last heard of
}

// brought is an action that brings bytes.
type brought struct {
	job  uint32
	what record.What
}

// LookBack begins to look back from what the record says now.
func LookBack(src Source, now *record.State) *Past {
	p := &Past{Source: src, Named: map[string][]brought{}, erased: map[uint32]bool{}}
	now.Jobs(0, func(j *recordv1.Job) bool {
		if j.GetErased() != nil {
			p.erased[j.GetNumber()] = j.GetImagesErased()
		}
		return true
	})
	return p
}

// Next notes what the action brings that is looked at next.
func (p *Past) Next(a *recordv1.Action) {
	for _, b := range record.Brings(a) {
		p.Named[b.SHA256] = append(p.Named[b.SHA256], brought{record.JobOf(a), b.What})
	}
	p.heard(a)
}

// Gone says whether all who brought some bytes so far were erased.
func (p *Past) Gone(sha string) bool {
	for _, b := range p.Named[sha] {
		images, erased := p.erased[b.job]
		if !erased || b.what != record.ANoteFile && !images {
			return false
		}
	}
	return true
}

// Blob wraps ErrErased for bytes that are gone.
func (p *Past) Blob(what string, sha image.Hash) ([]byte, error) {
	b, err := p.Source.Blob(what, sha)
	if errors.Is(err, store.ErrNotFound) && p.Gone(string(sha)) {
		err = fmt.Errorf("%s: %w", what, ErrErased)
	}
	return b, err
}

// forgot says whether a job's texts were erased since.
func (p *Past) forgot(job uint32) bool {
	_, erased := p.erased[job]
	return erased
}
