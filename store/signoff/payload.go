package signoff

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/reflect/protoreflect"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

var (
	actionDescriptor = (*recordv1.Action)(nil).ProtoReflect().Descriptor()
	bodyOneof        = actionDescriptor.Oneofs().ByName("body")
)

// inTotoStatement is the _type of a Statement, by the in-toto Attestation Framework's "Statement v1".
const inTotoStatement = "https://in-toto.io/Statement/v1"

// statement is an in-toto Statement v1 whose predicate keeps its bytes; the library's own type
// would turn it into a map and lose them.
type statement struct {
	Type          string          `json:"_type"`
	Subject       []subject       `json:"subject"`
	PredicateType string          `json:"predicateType"`
	Predicate     json.RawMessage `json:"predicate"`
}

type subject struct {
	Name   string `json:"name"`
	Digest struct {
		SHA256 string `json:"sha256"`
	} `json:"digest"`
}

// about is what a sign-off or a return is about: one submitted image.
type about struct {
	job, submission          uint32
	imageSHA256, predicateOf string
}

// statementOf says whether an action travels as a statement, and about what.
func statementOf(a *recordv1.Action) (about, bool) {
	switch b := a.Body.(type) {
	case *recordv1.Action_SignOff:
		return about{b.SignOff.GetJob(), b.SignOff.GetSubmission(), b.SignOff.GetImageSha256(), SignOffPredicate}, true
	case *recordv1.Action_Return:
		return about{b.Return.GetJob(), b.Return.GetSubmission(), b.Return.GetImageSha256(), ReturnPredicate}, true
	}
	return about{}, false
}

func (s about) subject() subject {
	out := subject{Name: fmt.Sprintf("job %d submission %d image", s.job, s.submission)}
	out.Digest.SHA256 = s.imageSHA256
	return out
}

// encodePayload makes the bytes that are signed. They are read back at once, so that nothing is
// signed that Open would refuse.
func encodePayload(a *recordv1.Action) (payloadType string, payload []byte, err error) {
	if Kind(a) == "" {
		return "", nil, formError("action", "it has no body, exactly one is needed")
	}
	if a.GetForm() == 0 {
		a.Form = FormOf(a)
	}
	payloadType = ActionType
	if payload, err = encodeAction(a); err != nil {
		return "", nil, err
	}
	if s, ok := statementOf(a); ok {
		payloadType = StatementType
		if payload, err = encodeStatement(s, payload); err != nil {
			return "", nil, err
		}
	}
	if _, err := decodePayload(payloadType, payload); err != nil {
		return "", nil, err
	}
	return payloadType, payload, nil
}

// Preview is the exact bytes that Seal would sign for an action, so that a person can read them
// first: the action's JSON, or the statement around it.
func Preview(a *recordv1.Action) ([]byte, error) {
	_, payload, err := encodePayload(a)
	return payload, err
}

func encodeStatement(s about, action []byte) ([]byte, error) {
	var out bytes.Buffer
	encoder := json.NewEncoder(&out)
	encoder.SetEscapeHTML(false) // the predicate's bytes stay the action's
	err := encoder.Encode(statement{
		Type:          inTotoStatement,
		Subject:       []subject{s.subject()},
		PredicateType: s.predicateOf,
		Predicate:     action,
	})
	if err != nil {
		return nil, fmt.Errorf("statement: %w", err)
	}
	return bytes.TrimSuffix(out.Bytes(), []byte("\n")), nil
}

// encodeAction is protojson with its spacing taken out: the library varies that from build to
// build on purpose, and a signer's bytes should not depend on it.
func encodeAction(a *recordv1.Action) ([]byte, error) {
	loose, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(a)
	if err != nil {
		return nil, fmt.Errorf("action: %w", err)
	}
	var out bytes.Buffer
	if err := json.Compact(&out, loose); err != nil {
		return nil, fmt.Errorf("action: %w", err)
	}
	return out.Bytes(), nil
}

// decodePayload reads a payload whose form is the one that it needs. Another is told before anything
// else that is wrong: what a newer one holds cannot be known here, and the first version had none.
func decodePayload(payloadType string, payload []byte) (*recordv1.Action, error) {
	action, err := decodeKnown(payloadType, payload)
	if err == nil && action.GetForm() == FormOf(action) {
		return action, nil
	}
	form, noForm := formOf(payloadType, payload)
	switch {
	case noForm != nil && errors.Is(err, ErrUnknownKind):
		return nil, noForm
	case noForm != nil:
		return nil, err
	case form > Form:
		return nil, fmt.Errorf("action of form %d, this program knows form %d: %w", form, Form, ErrUnknownKind)
	case form < LeastForm:
		return nil, formError("action", "form %d is that of the first version's ledgers, which this program cannot read", form)
	case err == nil:
		return nil, formError("action.form", "is %d; what it sets is of form %d", form, FormOf(action))
	}
	return nil, err
}

// formOf reads the form of an action, whatever else it holds: 0 where it states none. It is ErrForm
// where that is no whole number, or the payload not one JSON object without names twice.
func formOf(payloadType string, payload []byte) (form uint64, err error) {
	err = readAll("action", payload, func(r *reader) error {
		inAction := func(name string) (err error) {
			if name != "form" {
				return r.skip()
			}
			form, err = r.number()
			return err
		}
		if payloadType != StatementType {
			return r.object(inAction)
		}
		return r.object(func(name string) error {
			if name != "predicate" {
				return r.skip()
			}
			return r.object(inAction)
		})
	})
	return form, err
}

// decodeKnown reads a payload of either type and checks that its kind travels as that type.
func decodeKnown(payloadType string, payload []byte) (*recordv1.Action, error) {
	switch payloadType {
	case ActionType:
		action, err := decodeAction("action", payload)
		if err != nil {
			return nil, err
		}
		if s, ok := statementOf(action); ok {
			return nil, formError("action", "kind %s travels in a statement of type %s, not as a plain action", Kind(action), s.predicateOf)
		}
		return action, nil
	case StatementType:
		return decodeStatement(payload)
	}
	return nil, formError("envelope.payloadType", "%q, allowed are %q and %q", clip(payloadType), ActionType, StatementType)
}

func decodeStatement(payload []byte) (*recordv1.Action, error) {
	var raw statement
	var subjects []byte
	err := readAll("statement", payload, func(r *reader) error {
		return r.whole(func(name string) (err error) {
			switch name {
			case "_type":
				err = r.text(&raw.Type)
			case "subject":
				subjects, err = r.raw()
			case "predicateType":
				err = r.text(&raw.PredicateType)
			case "predicate":
				raw.Predicate, err = r.raw()
			}
			return err
		}, "_type", "subject", "predicateType", "predicate")
	})
	if err != nil {
		return nil, err
	}
	if raw.Type != inTotoStatement {
		return nil, formError("statement._type", "%q, allowed is %q", clip(raw.Type), inTotoStatement)
	}
	if raw.PredicateType != SignOffPredicate && raw.PredicateType != ReturnPredicate {
		if strings.HasPrefix(raw.PredicateType, "urn:witnessmark:") {
			return nil, fmt.Errorf("statement of type %q: %w", clip(raw.PredicateType), ErrUnknownKind)
		}
		return nil, formError("statement.predicateType", "%q, allowed are %q and %q", clip(raw.PredicateType), SignOffPredicate, ReturnPredicate)
	}
	action, err := decodeAction("statement.predicate", raw.Predicate)
	if err != nil {
		return nil, err
	}
	s, ok := statementOf(action)
	if !ok || s.predicateOf != raw.PredicateType {
		return nil, formError("statement.predicate", "kind %s does not fit the type %s", Kind(action), raw.PredicateType)
	}
	return action, checkSubject(subjects, s)
}

// checkSubject holds the statement's subject to what the action says: the name and hash that
// other tools see are the ones that were signed.
func checkSubject(raw []byte, s about) error {
	want, got, subjects := s.subject(), subject{}, 0
	err := readAll("statement.subject", raw, func(r *reader) error {
		return r.list(func() error {
			subjects++
			return r.whole(func(name string) error {
				if name == "name" {
					return r.text(&got.Name)
				}
				return r.whole(func(string) error { return r.text(&got.Digest.SHA256) }, "sha256")
			}, "name", "digest")
		})
	})
	switch {
	case err != nil:
		return err
	case subjects != 1:
		return formError("statement.subject", "%d subjects, exactly one is allowed", subjects)
	case !isHex32(s.imageSHA256):
		return formError("statement.predicate", "image_sha256 %q, 64 lower-case hex digits are allowed", clip(s.imageSHA256))
	case got != want:
		return formError("statement.subject[0]", "%q %s is not the action's %q %s", clip(got.Name), clip(got.Digest.SHA256), want.Name, want.Digest.SHA256)
	}
	return nil
}

// decodeAction reads a strict action. An action of which all is known but its one body field,
// an object, is ErrUnknownKind: that is what a newer version's kinds look like.
func decodeAction(at string, raw []byte) (*recordv1.Action, error) {
	action, unknown := &recordv1.Action{}, ""
	err := readAll(at, raw, func(r *reader) (err error) {
		unknown, err = r.action(action.ProtoReflect())
		return err
	})
	switch kind := Kind(action); {
	case err != nil:
		return nil, err
	case unknown != "" && kind != "":
		return nil, formError(at, "field %q is unknown to kind %s", clip(unknown), kind)
	case unknown != "":
		return nil, fmt.Errorf("%s of kind %q: %w", at, clip(unknown), ErrUnknownKind)
	case kind == "":
		return nil, formError(at, "it has no body, exactly one is needed")
	}
	for _, c := range Commitments(action) {
		if !isHex32(c.Commitment) {
			return nil, formError(at+"."+c.At, "commitment %q, 64 lower-case hex digits are allowed", clip(c.Commitment))
		}
	}
	return action, nil
}

// isHex32 is 32 bytes as lower-case hex digits.
func isHex32(s string) bool {
	raw, err := hex.DecodeString(s)
	return err == nil && len(raw) == 32 && strings.ToLower(s) == s
}

// fieldNames is a message's field names in the order of the file.
func fieldNames(d protoreflect.MessageDescriptor) string {
	var names []string
	for i := range d.Fields().Len() {
		names = append(names, string(d.Fields().Get(i).Name()))
	}
	return strings.Join(names, ", ")
}
