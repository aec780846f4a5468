package server

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/record"
	"witnessmark/tables/definition"
	"witnessmark/tables/limits"
	"witnessmark/tables/reckon"
)

// namedBlob is bytes that an action brings into the record; base is the image they are
// packed against, if any.
type namedBlob struct {
	sha, base string
	data      []byte
}

// facts recomputes everything an action claims about bytes, and answers with the blobs that
// enter the record with it. The rules of who may do what are record.Decide's; these are the
// facts that Decide takes for granted.
func (c *core) facts(v view, a *recordv1.Action) ([]namedBlob, error) {
	f := &finder{c: c, v: v}
	var err error
	switch b := a.GetBody().(type) {
	case *recordv1.Action_Definition:
		err = f.definition(b.Definition)
	case *recordv1.Action_Limits:
		err = f.limits(b.Limits)
	case *recordv1.Action_Job:
		err = f.job(b.Job)
	case *recordv1.Action_Read:
		err = f.read(b.Read)
	case *recordv1.Action_Submission:
		err = f.submission(b.Submission)
	case *recordv1.Action_SignOff:
		err = f.judgedAgain(b.SignOff.GetJob(), b.SignOff.GetSubmission(), b.SignOff.GetJudgement())
	case *recordv1.Action_Collect:
		if b.Collect.GetSubmission() != 0 {
			err = f.judgedAgain(b.Collect.GetJob(), b.Collect.GetSubmission(), b.Collect.GetJudgement())
		}
	case *recordv1.Action_ReadBack:
		err = f.readBack(b.ReadBack)
	case *recordv1.Action_Run:
		err = f.run(b.Run)
	}
	return f.blobs, err
}

// finder looks facts up while it recomputes one action.
type finder struct {
	c     *core
	v     view
	blobs []namedBlob
}

// take finds bytes and lists them for the record, unless they are in it already.
func (f *finder) take(at, sha, base string) error {
	data, err := f.c.need(at, sha)
	if err != nil {
		return err
	}
	f.keep(sha, base, data)
	return nil
}

// keep lists bytes for the record, packed against base, unless they are in it already.
func (f *finder) keep(sha, base string, data []byte) {
	if in, err := f.c.has(sha); err == nil && in {
		return
	}
	f.blobs = append(f.blobs, namedBlob{sha: sha, base: base, data: data})
}

func (f *finder) definition(a *recordv1.AddDefinition) error {
	rev := a.GetRevision()
	lay, err := f.c.layout("definition "+rev.GetName(), rev.GetSha256())
	if err != nil {
		return err
	}
	if lay.Name != rev.GetName() {
		return refused("name-differs", "revision.name", lay.Name, "the action adds definition %s; the file is named %s", printable(rev.GetName()), lay.Name)
	}
	return f.take("revision.sha256", rev.GetSha256(), "")
}

// limits meet every definition that they name and that is here.
func (f *finder) limits(a *recordv1.AddLimits) error {
	rev := a.GetRevision()
	lim, err := f.c.limitsOf("limits "+rev.GetName(), rev.GetSha256())
	if err != nil {
		return err
	}
	if lim.Name != rev.GetName() {
		return refused("name-differs", "revision.name", lim.Name, "the action adds limits %s; the file is named %s", printable(rev.GetName()), lim.Name)
	}
	for _, name := range lim.Source.GetAppliesTo() {
		doc, ok := f.v.Newest(kindDefinition, name)
		if !ok {
			continue
		}
		lay, err := f.c.layout("definition "+name, doc.GetSha256())
		if err != nil {
			return err
		}
		if err := meet(lim, lay); err != nil {
			return err
		}
	}
	return f.take("revision.sha256", rev.GetSha256(), "")
}

// Kinds of documents, as the record calls them.
const (
	kindDefinition = "definition"
	kindLimits     = "limits"
)

// meet says whether limits and a definition fit each other.
func meet(lim *limits.Limits, lay *definition.Layout) error {
	if names := lim.Source.GetAppliesTo(); len(names) > 0 && !slices.Contains(names, lay.Name) {
		return refused("limits-do-not-apply", "limits", fmt.Sprint(names), "limits %s apply to %v, not to definition %s", lim.Name, names, lay.Name)
	}
	if err := lim.Check(lay); err != nil {
		return refused("limits-do-not-fit", "limits", "", "limits %s do not fit definition %s: %s", lim.Name, lay.Name, oneLine(err)).because(err)
	}
	return nil
}

func (f *finder) job(a *recordv1.OpenJob) error {
	lay, lim, err := f.documents(a.GetDefinition(), a.GetLimits())
	if err != nil {
		return err
	}
	if err := meet(lim, lay); err != nil {
		return err
	}
	if _, err := reckon.Facts(a.GetFuel(), a.GetNumbers()); err != nil {
		return refused("bad-numbers", "job.numbers", "numbers that reckon", "%s", oneLine(err)).because(err)
	}
	if !slices.Equal(a.GetLimitsFuel(), lim.Source.GetFuel()) {
		return refused("fuel-differs", "limits_fuel", fmt.Sprint(lim.Source.GetFuel()), "the action says that limits %s are for %q; the file says %q", lim.Name, a.GetLimitsFuel(), lim.Source.GetFuel())
	}
	return nil
}

// documents compiles the revisions that an action names; both must be in the record.
func (f *finder) documents(def, lim *recordv1.Revision) (*definition.Layout, *limits.Limits, error) {
	if err := f.recorded(kindDefinition, def); err != nil {
		return nil, nil, err
	}
	if err := f.recorded(kindLimits, lim); err != nil {
		return nil, nil, err
	}
	lay, err := f.c.layout("definition "+def.GetName(), def.GetSha256())
	if err != nil {
		return nil, nil, err
	}
	l, err := f.c.limitsOf("limits "+lim.GetName(), lim.GetSha256())
	return lay, l, err
}

func (f *finder) recorded(kind string, rev *recordv1.Revision) error {
	doc, ok := f.v.Document(kind, rev.GetSha256())
	if !ok || doc.GetName() != rev.GetName() {
		return refused("not-found", kind, "a revision that was added", "there is no revision %s of %s %s", short(rev.GetSha256()), kind, printable(rev.GetName()))
	}
	return nil
}

func (f *finder) jobOf(n uint32) (*recordv1.Job, error) {
	j, ok := f.v.Job(n)
	if !ok {
		return nil, refused("no-job", "job", "", "there is no job %d", n)
	}
	return j, nil
}

// arriving checks an image that an action brings: its bytes are here, as large as the
// definition's range, and 0xFF wherever it says that it holds nothing.
func (f *finder) arriving(at string, im *recordv1.Image, lay *definition.Layout) (*picture, error) {
	data, err := f.c.need(at+".sha256", im.GetSha256())
	if err != nil {
		return nil, err
	}
	if uint64(len(data)) != lay.Size || uint64(im.GetSize()) != lay.Size {
		return nil, refused("image-size", at+".size", fmt.Sprintf("%d bytes", lay.Size),
			"%s: the image has %d bytes (the action says %d); definition %s has %d", at, len(data), im.GetSize(), lay.Name, lay.Size)
	}
	gaps, err := gapsOf(at, im, lay)
	if err != nil {
		return nil, err
	}
	for _, g := range gaps {
		for o := g.Start; o < g.End; o++ {
			if data[o] != 0xFF {
				return nil, refused("ranges", at+".ranges", "0xFF in every gap", "%s: address 0x%x is in no range and is not 0xFF", at, lay.Start+o)
			}
		}
	}
	return &picture{sha: im.GetSha256(), data: data, gaps: gaps}, nil
}

// known is an image that is in the record.
func (f *finder) known(at, sha string, lay *definition.Layout) (*picture, error) {
	im, ok := f.v.image(sha)
	if !ok {
		return nil, refused("no-image", at, "an image of the record", "%s: no image with SHA-256 %s is in the record", at, short(sha))
	}
	return f.arriving(at, im, lay)
}

// original is the first read of a job.
func original(j *recordv1.Job) (*recordv1.Read, error) {
	if len(j.GetReads()) == 0 {
		return nil, refused("no-original", "job", "add a read first", "job %d has no read yet", j.GetNumber())
	}
	return j.GetReads()[0], nil
}

func jobFacts(j *recordv1.Job) *calibrationv1.JobFacts {
	facts, _ := reckon.Facts(j.GetFuel(), j.GetNumbers()) // numbers that cannot be reckoned open no job
	return facts
}

// judged says whether a judgement is what the question's answer says.
func (f *finder) judged(at string, j *recordv1.Judgement, q *question) error {
	r, err := f.c.sameReport(at+".report_sha256", j.GetReportSha256(), q)
	if err != nil {
		return err
	}
	if r.GetVerdict() != j.GetVerdict() {
		return refused("verdict-differs", at+".verdict", r.GetVerdict(), "%s: the verdict is %s; the action says %s", at, r.GetVerdict(), printable(j.GetVerdict()))
	}
	if want := warnings(r); !slices.Equal(want, j.GetWarnings()) {
		return refused("warnings-differ", at+".warnings", fmt.Sprint(want), "%s: the warnings that count are %v; the action lists %.400q", at, want, j.GetWarnings())
	}
	return f.take(at+".report_sha256", j.GetReportSha256(), "")
}

// frameFault compares the fields of a read that belong to one car with the frame number the
// job was opened with, by digest, since the number itself is kept nowhere. One of them has to
// be it; a definition without such a field cannot tell.
func (f *finder) frameFault(j *recordv1.Job, lay *definition.Layout, data []byte) error {
	digest := f.v.frame(j.GetNumber())
	if digest == "" {
		return nil
	}
	var ids []string
	for _, id := range lay.Identity {
		if !id.Vehicle {
			continue
		}
		if record.FrameDigest(f.c.genesis, id.Text(data)) == digest {
			return nil
		}
		ids = append(ids, id.ID)
	}
	if len(ids) == 0 {
		return nil
	}
	return refused("frame", "image", "a read of the car that the job was opened for",
		"the image is of another car: none of its identity fields %s is the frame number of job %d", strings.Join(ids, ", "), j.GetNumber())
}

// notFound says whether an error is the store's ErrNotFound.
func notFound(err error) bool { return errors.Is(err, store.ErrNotFound) }
