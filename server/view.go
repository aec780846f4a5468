package server

import (
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/encoding/protojson"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// view is what recomputing facts may ask of the record. It answers with copies.
type view interface {
	Document(kind, sha string) (*recordv1.Document, bool)
	Newest(kind, name string) (*recordv1.Document, bool)
	Job(n uint32) (*recordv1.Job, bool)
	Submission(job, n uint32) (*recordv1.Submission, bool)
	InCar(plate string) (*recordv1.InCar, bool)
	Request(id string) (index uint64, envelopeSHA256 string, ok bool)
	frame(job uint32) string
	image(sha string) (*recordv1.Image, bool)
}

// plain looks at a history that only its caller's goroutine uses.
type plain struct {
	*record.State
	h *history
}

func (v plain) frame(job uint32) string { return v.h.frames[job] }
func (v plain) image(sha string) (*recordv1.Image, bool) {
	im, ok := v.h.images[sha]
	return im, ok
}

func (c *core) aheadView() view { return plain{c.ahead.state, c.ahead} }

// locked looks at the committed history and holds its lock for one question at a time, so
// that a long comparison keeps nobody waiting.
type locked struct{ c *core }

func (c *core) committedView() view { return locked{c} }

func (v locked) Document(kind, sha string) (d *recordv1.Document, ok bool) {
	v.c.read(func(h *history) { d, ok = h.state.Document(kind, sha) })
	return d, ok
}

func (v locked) Newest(kind, name string) (d *recordv1.Document, ok bool) {
	v.c.read(func(h *history) { d, ok = h.state.Newest(kind, name) })
	return d, ok
}

func (v locked) Job(n uint32) (j *recordv1.Job, ok bool) {
	v.c.read(func(h *history) { j, ok = h.state.Job(n) })
	return j, ok
}

func (v locked) Submission(job, n uint32) (s *recordv1.Submission, ok bool) {
	v.c.read(func(h *history) { s, ok = h.state.Submission(job, n) })
	return s, ok
}

func (v locked) InCar(plate string) (in *recordv1.InCar, ok bool) {
	v.c.read(func(h *history) { in, ok = h.state.InCar(plate) })
	return in, ok
}

func (v locked) Request(id string) (index uint64, sum string, ok bool) {
	v.c.read(func(h *history) { index, sum, ok = h.state.Request(id) })
	return index, sum, ok
}

func (v locked) frame(job uint32) (digest string) {
	v.c.read(func(h *history) { digest = h.frames[job] })
	return digest
}

func (v locked) image(sha string) (im *recordv1.Image, ok bool) {
	v.c.read(func(h *history) { im, ok = h.images[sha] })
	return im, ok
}

// decide asks the rules.
func (c *core) decide(h *history, s *signoff.Signed) error {
	if err := record.Decide(h.state, s); err != nil {
		return fmt.Errorf("decide: %w", err)
	}
	return nil
}

// openFault is the answer to an envelope that cannot be opened: what is wrong with it is the
// sender's to know, since the sender made it.
func openFault(err error) error {
	var r *record.Refusal
	if errors.As(err, &r) || errors.Is(err, record.ErrUnknownKind) {
		return err
	}
	return (&fault{code: codes.InvalidArgument, reason: "bad-envelope", at: "envelope",
		text: "the envelope cannot be opened: " + oneLine(err)}).because(err)
}

// payload is the part of an envelope that an action lies in, looked at without judging it.
func payload(envelope []byte) (body json.RawMessage, ok bool) {
	var env struct {
		PayloadType string `json:"payloadType"`
		Payload     string `json:"payload"`
	}
	if json.Unmarshal(envelope, &env) != nil {
		return nil, false
	}
	raw, err := base64.StdEncoding.DecodeString(env.Payload)
	if err != nil {
		return nil, false
	}
	if env.PayloadType != signoff.StatementType {
		return raw, true
	}
	var st struct {
		Predicate json.RawMessage `json:"predicate"`
	}
	if json.Unmarshal(raw, &st) != nil {
		return nil, false
	}
	return st.Predicate, true
}

// requestID finds the request id of bytes that may or may not be an envelope: it is only
// used to find an entry whose hash then has to be theirs.
func requestID(envelope []byte) (string, bool) {
	body, ok := payload(envelope)
	if !ok {
		return "", false
	}
	var a struct {
		RequestID string `json:"request_id"`
	}
	if json.Unmarshal(body, &a) != nil || a.RequestID == "" {
		return "", false
	}
	return a.RequestID, true
}

// peekAction reads the action of an envelope that is in the ledger already.
func peekAction(envelope []byte) (*recordv1.Action, error) {
	body, ok := payload(envelope)
	if !ok {
		return nil, errors.New("an admitted envelope cannot be read")
	}
	a := &recordv1.Action{}
	if err := (protojson.UnmarshalOptions{DiscardUnknown: true}).Unmarshal(body, a); err != nil {
		return nil, fmt.Errorf("an admitted action cannot be read: %w", err)
	}
	return a, nil
}
