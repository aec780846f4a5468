package client

import (
	"witnessmark/store/claims"
	"witnessmark/store/record"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// inside looks at each cell of a corridor's release, since its author alone said that it lies inside; of any other
// release a proof holds nothing for that.
func (o *opened) inside(v *Verified) error {
	c := v.Yes.Corridor
	asked, by := c.GetAsked(), proofDefinition
	if asked.GetDefinition().GetSha256() != o.judge.collection.GetJudgement().GetDefinition().GetSha256() {
		by = proofCorridor
	}
	if o.files[proofStart] != nil && c == nil || o.files[proofCorridor] != nil && (c == nil || by == proofDefinition) {
		return o.no("it holds files of a corridor that %s does not need", Name(v.Submission))
	}
	if c == nil {
		return nil
	}
	if err := o.signedFor(map[int]string{proofStart: asked.GetFromSha256(), by: asked.GetDefinition().GetSha256()}); err != nil {
		return err
	}
	if !o.judge.revisions[asked.GetDefinition().GetSha256()] {
		return o.no("it holds no entry that added %s, by which its corridor was signed", asked.GetDefinition().GetName())
	}
	lay, err := definition.Load(proofFiles[by].name, o.files[by])
	if err != nil {
		return o.no("%v", err)
	}
	start, err := image.FromMessage(record.StartOf(v.Job, asked), lay.Space, o.files[proofStart])
	if err != nil {
		return o.no("%v", err)
	}
	candidate, err := image.FromMessage(v.Submission.GetImage(), lay.Space, o.files[proofImage])
	if err != nil {
		return o.no("%v", err)
	}
	held, err := claims.Against(lay, c, start, candidate)
	if err != nil {
		return o.no("%v", err)
	}
	if len(held.Outside) > 0 {
		return o.no("%s lies outside %s: %s", Name(v.Submission), record.CorridorName(c), held.Outside[0])
	}
	return nil
}
