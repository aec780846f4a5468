package signoff_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// slowly reads an action as the protobuf library does. strict says that it was written in the one way
// that is allowed, as far as that library's own writing of what it read can tell.
func slowly(text string) (a *recordv1.Action, strict bool) {
	a = &recordv1.Action{}
	if protojson.Unmarshal([]byte(text), a) != nil {
		return nil, false
	}
	again, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(a)
	return a, err == nil && reflect.DeepEqual(tokensOf([]byte(text)), tokensOf(again))
}

// tokensOf is a JSON text with its numbers as they are written.
func tokensOf(text []byte) (v any) {
	d := json.NewDecoder(bytes.NewReader(text))
	d.UseNumber()
	if d.Decode(&v) != nil {
		return nil
	}
	return v
}

// fits is what Open asks of an action that is read, besides how it is written.
func fits(a *recordv1.Action) bool {
	for _, c := range signoff.Commitments(a) {
		if len(c.Commitment) != 64 || strings.Trim(c.Commitment, "0123456789abcdef") != "" {
			return false
		}
	}
	image := "0"
	if so, back := a.GetSignOff(), a.GetReturn(); so != nil || back != nil {
		image = so.GetImageSha256() + back.GetImageSha256()
	}
	return a.GetForm() == leastForm(a) && signoff.Kind(a) != "" &&
		(image == "0" || len(image) == 64 && strings.Trim(image, "0123456789abcdef") == "")
}

// leastForm is the form that an action needs, by what came when.
func leastForm(a *recordv1.Action) uint32 {
	kind := signoff.Kind(a)
	switch {
	case kind == "corridor", kind == "corridor_close", a.GetSubmission().GetCorridor() != nil, a.GetRun().GetOf() != "":
		return 4
	case a.GetJob().GetDefinitionCarried():
		return 3
	}
	return 2
}

// carried is the type and text that an action of that text travels in.
func carried(text string, a *recordv1.Action) (payloadType, payload string) {
	so, back := a.GetSignOff(), a.GetReturn()
	if so == nil && back == nil {
		return signoff.ActionType, text
	}
	predicate := signoff.SignOffPredicate
	if back != nil {
		predicate = signoff.ReturnPredicate
	}
	return signoff.StatementType, fmt.Sprintf(
		`{"_type":"https://in-toto.io/Statement/v1","subject":[{"name":"job %d submission %d image","digest":{"sha256":%q}}],"predicateType":%q,"predicate":%s}`,
		so.GetJob()+back.GetJob(), so.GetSubmission()+back.GetSubmission(), so.GetImageSha256()+back.GetImageSha256(), predicate, text)
}

var tokens = regexp.MustCompile(`"(?:[^"\\]|\\.)*"|-?[0-9][0-9.eE+-]*|[a-z]+|[][{}:,]`)

// spoil changes a text in a few places, mostly by whole tokens.
func spoil(text string, rng *rand.Rand) string {
	others := []string{"null", "true", "false", "0", "7", "-0", "7.0", "7e0", `"7"`, "4294967295", "4294967296", "{}", "[]", `""`, `"\u0061"`,
		`"\ud800"`, "\"\xff\"", `"form"`, `"request_id"`, `"requestId"`, `"novel":{},`, `"form":2,`, `"form":3,`, `"form":4,`, `"definition_carried":false,`, `"of":"",`, `"corridor":{},`, ",", ":", "{", "}", "[", "]", " ", "\ufeff"}
	for range rng.IntN(3) {
		at := tokens.FindAllStringIndex(text, -1)
		if len(at) == 0 {
			break
		}
		one, other := at[rng.IntN(len(at))], at[rng.IntN(len(at))]
		before, token, after := text[:one[0]], text[one[0]:one[1]], text[one[1]:]
		switch rng.IntN(6) {
		case 0:
			token = ""
		case 1:
			token = text[other[0]:other[1]]
		case 2:
			token += others[rng.IntN(len(others))]
		case 3:
			token = strings.Replace(token, "_sha", "Sha", 1)
		case 4:
			b := []byte(token)
			b[rng.IntN(len(b))] = byte(rng.IntN(256))
			token = string(b)
		default:
			token = others[rng.IntN(len(others))]
		}
		text = before + token + after
	}
	return text
}

// TestAsTheLibraryReads: what is opened is what the protobuf library reads, and whatever that reads and
// writes again in the same way is opened.
func TestAsTheLibraryReads(t *testing.T) {
	seed := rand.Uint64()
	rng := rand.New(rand.NewPCG(seed, 0))
	opened, refused := 0, 0
	for round := range 150 {
		for _, kind := range kinds(t) {
			a := &recordv1.Action{}
			fill(a.ProtoReflect(), rng, false)
			fill(a.ProtoReflect().Mutable(kind).Message(), rng, round == 0)
			a.Form = signoff.FormOf(a)
			written, err := protojson.MarshalOptions{UseProtoNames: true, Multiline: round%2 == 0}.Marshal(a)
			if err != nil {
				t.Fatal(err)
			}
			text := string(written)
			if round%3 == 0 {
				text = strings.Replace(text, "true", "false", 1)
			}
			text = spoil(text, rng)
			want, strict := slowly(text)
			if want != nil {
				a = want
			}
			payloadType, payload := carried(text, a)
			got, err := signoff.Open(wrap(t, testKey(t), payloadType, payload), ring(testKey(t)))
			switch {
			case err == nil && !proto.Equal(got.Action, want):
				t.Fatalf("seed %d: %s\nopened as %v\nthe library reads %v", seed, text, got.Action, want)
			case err != nil && strict && fits(want):
				t.Fatalf("seed %d: %s\nrefused: %v", seed, text, err)
			case err != nil && !errors.Is(err, signoff.ErrForm) && !errors.Is(err, signoff.ErrUnknownKind):
				t.Fatalf("seed %d: %s\n%v", seed, text, err)
			case err == nil:
				opened++
			default:
				refused++
			}
			oneLine(t, err)
		}
	}
	if opened < 500 || refused < 500 {
		t.Errorf("seed %d: %d opened and %d refused, 500 of each at least were expected", seed, opened, refused)
	}
}
