// Package claims is what an action says about bytes: it makes every such claim and checks it by the
// same code, for whoever signs and for whoever admits. The rules of who may do what are record's.
package claims

import (
	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/image"
	"witnessmark/tables/runcheck"
)

// Source is what claims are made from.
type Source interface {
	// View is one short look at the record, and answers with the state's own error too; nothing of the
	// state is kept after it.
	View(fn func(*record.State) error) error
	// Blob is whole bytes by their hash, already checked; what says what they are, for errors. It
	// wraps store.ErrNotFound.
	Blob(what string, sha image.Hash) ([]byte, error)
}

// Made is what the claims of one action were made from, for those who show or keep it. What it
// points to is shared, and not to be changed.
type Made struct {
	Rules
	// Base and Candidate are the two images that Report compares; Base is nil where one image was
	// judged by itself. Of a read-back they are what was written and what was found.
	Base, Candidate *image.Image
	// Report is nil where nothing was judged, and of a read-back that matches.
	Report *calibrationv1.Report
	// Why a read-back is not what was written; empty where it is.
	Why string
	// LastReport says how a read differs from Last, which was last in its car; nil where it does not,
	// or where the two are of different definitions.
	LastReport *calibrationv1.Report
	Last       *image.Image
	// Run is a run held against Candidate, which is in its car; nil where what is in the car is not known.
	Run *runcheck.Result
	// Corridor is how a submission, or what is collected by a corridor's word alone, lies to that; nil where there is none.
	Corridor *Corridor
	// Reports are the bytes of every report that the action names.
	Reports map[image.Hash][]byte
	// Forgotten says that some claim was left as it was, since it depends on a text that was erased.
	Forgotten bool
	// Earlier says that the claims are from when programs compared by earlier rules, and were held to their own reports.
	Earlier bool
}

// making is the claims of one action on their way.
type making struct {
	Made
	c         *Computer
	src       Source
	texts     map[string]string // by commitment
	uncertain bool              // other jobs' texts may be missing
}

// Fill computes every claim of an action and writes it into it, whatever was there before. The error
// is a *record.Refusal where something does not fit together, record.ErrUnknownKind, or the
// source's.
func (c *Computer) Fill(src Source, a *recordv1.Action, openings []*recordv1.Opening) (*Made, error) {
	m := c.making(src)
	if err := m.fill(a, openings); err != nil {
		return nil, err
	}
	return &m.Made, nil
}

// Check computes the claims of an action and holds them against those that it carries; it changes
// nothing. Beside Fill's errors, a *record.Refusal names the first field that differs, what is right,
// and what the action says. A report may be encoded in another way than here, if its bytes are at
// hand: it is then kept as it was named. Looking back, claims by earlier rules of comparing are held to the reports that they name.
func (c *Computer) Check(src Source, a *recordv1.Action, openings []*recordv1.Opening) (*Made, error) {
	made, err := c.check(src, a, openings)
	if p, ok := src.(*Past); ok && p.before(err) {
		return c.earlier(p, a)
	}
	return made, err
}

func (c *Computer) check(src Source, a *recordv1.Action, openings []*recordv1.Opening) (*Made, error) {
	m, right := c.making(src), proto.CloneOf(a)
	if err := m.fill(right, openings); err != nil {
		return nil, err
	}
	if err := m.differs("", a.ProtoReflect(), right.ProtoReflect()); err != nil {
		return nil, err
	}
	return &m.Made, nil
}

func (c *Computer) making(src Source) *making {
	return &making{Made: Made{Reports: map[image.Hash][]byte{}}, c: c, src: src, texts: map[string]string{}}
}

func (m *making) fill(a *recordv1.Action, openings []*recordv1.Opening) error {
	if err := m.open(a, openings); err != nil {
		return err
	}
	switch b := a.GetBody().(type) {
	case *recordv1.Action_Definition:
		return m.definition(b.Definition)
	case *recordv1.Action_Limits:
		return m.limits(b.Limits)
	case *recordv1.Action_Job:
		return m.opened(b.Job)
	case *recordv1.Action_Amend:
		return m.amend(b.Amend)
	case *recordv1.Action_Read:
		return m.read(b.Read)
	case *recordv1.Action_Submission:
		return m.submission(b.Submission)
	case *recordv1.Action_SignOff:
		return m.signOff(b.SignOff)
	case *recordv1.Action_Collect:
		return m.collect(b.Collect)
	case *recordv1.Action_ReadBack:
		return m.readBack(b.ReadBack)
	case *recordv1.Action_Run:
		return m.run(b.Run)
	case *recordv1.Action_Corridor:
		return m.corridor(b.Corridor)
	case *recordv1.Action_Note:
		return m.note(b.Note)
	}
	return nil
}

// job looks a job up, and compiles the newest revisions of what it is judged by.
func (m *making) job(n uint32) (*recordv1.Job, error) {
	j, r, err := m.c.jobRules(m.src, n)
	m.Rules = r
	return j, err
}

// image reads the bytes that a message names, over the range of the definition that the action is
// judged by.
func (m *making) image(at string, im *recordv1.Image) (*image.Image, error) {
	b, err := m.bytes(at+".sha256", im.GetSha256())
	if err != nil {
		return nil, err
	}
	if uint64(len(b)) != m.Layout.Size {
		return nil, refuse(ReasonImage, at+".size", "", "%s: the image has %d bytes; allowed: %d, the size that definition %s states", at, len(b), m.Layout.Size, m.Layout.Name)
	}
	out, err := image.FromMessage(im, m.Layout.Space, b)
	if err != nil {
		return nil, refuse(ReasonImage, at, "", "%s.%s", at, oneLine(err))
	}
	return out, nil
}

func (m *making) bytes(at, name string) ([]byte, error) {
	sha, err := image.ParseHash(name)
	if err != nil {
		return nil, refuse(record.ReasonBadValue, at, "", "%s: %s", at, oneLine(err))
	}
	return m.src.Blob(at, sha)
}
