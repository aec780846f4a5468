package signoff_test

import (
	"bytes"
	"crypto/ed25519"
	"errors"
	"strings"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// TestActionRefusals: everything here is signed well, by a key that is known.
func TestActionRefusals(t *testing.T) {
	good := payloadOf(t, seal(t, collectAction()))
	swap := func(old, new string) string {
		if !strings.Contains(good, old) {
			t.Fatalf("no %q in %s", old, good)
		}
		return strings.Replace(good, old, new, 1)
	}
	for _, c := range []struct {
		name, payload string
		says          string
	}{
		{"camelCase header", swap(`"request_id"`, `"requestId"`), `field "requestId" is unknown`},
		{"camelCase body", swap(`"image_sha256"`, `"imageSha256"`), `field "imageSha256" is unknown`},
		{"camelCase kind", swap(`"collect"`, `"serverKey"`), `field "serverKey" is unknown`},
		{"extension name", swap(`"request_id"`, `"[x.y]"`), `is unknown`},
		{"unknown header field beside a kind", swap(`"request_id"`, `"more":{},"request_id"`), `field "more" is unknown to kind collect`},
		{"unknown header field, no object", swap(`"request_id"`, `"more":1,"request_id"`), `number 1`},
		{"two unknown fields", `{"form":2,"one":{},"two":{}}`, `field "two" is unknown`},
		{"unknown field in the body", swap(`"submission":2`, `"submission":2,"more":{}`), `field "more" is unknown`},
		{"header field twice", swap(`"request_id"`, `"request_id":"r-0","request_id"`), `there twice`},
		{"field twice, one escaped", swap(`"request_id"`, `"request_\u0069d":"r-0","request_id"`), `there twice`},
		{"body field twice", swap(`"submission":2`, `"submission":1,"submission":2`), `there twice`},
		{"two bodies", swap(`"collect":`, `"withdraw":{},"collect":`), `oneof`},
		{"no body", `{"form":2}`, `no body`},
		{"null", swap(`"submission":2`, `"submission":null`), `null, allowed is a whole number`},
		{"null body", `{"form":2,"collect":null}`, `null, an object is allowed`},
		{"number in quotes", swap(`"submission":2`, `"submission":"2"`), `allowed is a whole number`},
		{"number with a point", swap(`"submission":2`, `"submission":2.0`), `allowed is a whole number`},
		{"number with an exponent", swap(`"submission":2`, `"submission":2e0`), `allowed is a whole number`},
		{"negative number", swap(`"submission":2`, `"submission":-0`), `allowed is a whole number`},
		{"number with a zero before it", swap(`"submission":2`, `"submission":02`), `invalid character`},
		{"number too large", swap(`"submission":2`, `"submission":4294967296`), `4294967296`},
		{"text is a number", swap(`"request_id":"r-1"`, `"request_id":1`), `allowed is a text`},
		{"message is a list", swap(`"seen":{`, `"seen":[{`), ``},
		{"half a surrogate", swap(`"r-1"`, `"\ud800"`), ``},
		{"trailing data", good + ` 1`, `follows the end`},
		{"trailing object", good + good, `follows the end`},
		{"comment", "// x\n" + good, `invalid character`},
		{"not UTF-8", swap(`"r-1"`, "\"\xff\""), `UTF-8`},
		{"deep", `{"novel":{"a":` + strings.Repeat("[", 100) + strings.Repeat("]", 100) + `}}`, `deep`},
		{"unknown kind with a name twice", `{"novel":{"a":{"b":1,"b":2}}}`, `there twice`},
		{"list", `[]`, `a list, an object is allowed`},
		{"empty", ``, `unexpected EOF`},
		{"a sign-off without a statement", payloadOf(t, seal(t, signOffAction()))[strings.Index(payloadOf(t, seal(t, signOffAction())), `"predicate":`)+len(`"predicate":`) : len(payloadOf(t, seal(t, signOffAction())))-1], `travels in a statement`},
	} {
		_, err := signoff.Open(wrap(t, testKey(t), signoff.ActionType, c.payload), ring(testKey(t)))
		if !errors.Is(err, signoff.ErrForm) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want ErrForm with %q", c.name, err, c.says)
		}
		oneLine(t, err)
	}
	if _, err := signoff.Open(wrap(t, testKey(t), "text/plain", good), ring(testKey(t))); !errors.Is(err, signoff.ErrForm) {
		t.Errorf("another payload type: %v", err)
	}
}

func TestStatementRefusals(t *testing.T) {
	good := payloadOf(t, seal(t, signOffAction()))
	swap := func(old, new string) string {
		if !strings.Contains(good, old) {
			t.Fatalf("no %q in %s", old, good)
		}
		return strings.Replace(good, old, new, 1)
	}
	zeros := strings.Repeat("0", 64)
	for _, c := range []struct{ name, payload, says string }{
		{"another statement type", swap("in-toto.io/Statement/v1", "in-toto.io/Statement/v0.1"), "_type"},
		{"another predicate type", swap(signoff.SignOffPredicate, "https://example.com/other"), "predicateType"},
		{"return in a sign-off's place", swap(signoff.SignOffPredicate, signoff.ReturnPredicate), "does not fit"},
		{"subject is another image", swap(`{"sha256":"`+imageSHA, `{"sha256":"`+zeros), "is not the action's"},
		{"action is of another image", swap(`"image_sha256":"`+imageSHA, `"image_sha256":"`+zeros), "is not the action's"},
		{"image hash in capitals", strings.ReplaceAll(good, imageSHA, strings.ToUpper(imageSHA)), "lower-case hex"},
		{"image hash empty", strings.ReplaceAll(good, imageSHA, ""), "lower-case hex"},
		{"subject is another submission", swap("job 7 submission 2", "job 7 submission 3"), "is not the action's"},
		{"second subject", swap(`"subject":[`, `"subject":[{"name":"x","digest":{"sha256":"`+zeros+`"}},`), "2 subjects"},
		{"second digest", swap(`{"sha256":"`, `{"sha1":"x","sha256":"`), `"sha1" is unknown`},
		{"digest twice", swap(`{"sha256":"`, `{"sha256":"x","sha256":"`), "there twice"},
		{"a field missing", swap(`"_type":"https://in-toto.io/Statement/v1",`, ""), "needed are"},
		{"no subject", swap(`"subject":[`, `"subject":[],"x":[`), "unknown"},
		{"predicate missing", `{"_type":"https://in-toto.io/Statement/v1","subject":[],"predicateType":"` + signoff.SignOffPredicate + `"}`, "first version"},
		{"camelCase in the predicate", swap(`"base_sha256"`, `"baseSha256"`), `"baseSha256" is unknown`},
		{"reason twice", swap(`"because":{`, `"because":{"axis":"x",`), "there twice"},
		{"reason no text", swap(`"axis":"intercooler"`, `"axis":1`), "allowed is a text"},
		{"kind of a plain action", swap(`"sign_off":`, `"withdraw":`), ""},
	} {
		_, err := signoff.Open(wrap(t, testKey(t), signoff.StatementType, c.payload), ring(testKey(t)))
		if !errors.Is(err, signoff.ErrForm) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want ErrForm with %q", c.name, err, c.says)
		}
		oneLine(t, err)
	}
}

// TestUnknownKinds: a newer version's kinds say "upgrade", and only under a signature that holds.
func TestUnknownKinds(t *testing.T) {
	other := ed25519.NewKeyFromSeed(bytes.Repeat([]byte{9}, 32))
	for _, c := range []struct{ kind, payload string }{
		{signoff.ActionType, `{"form":2,"request_id":"r","inspection":{"job":7,"parts":[{"a":1.5}],"x":null}}`},
		{signoff.ActionType, `{"form":2,"inspection":{}}`},
		{signoff.StatementType, `{"_type":"https://in-toto.io/Statement/v1","subject":[],"predicateType":"urn:witnessmark:sign-on:v2","predicate":{"form":2}}`},
		{signoff.StatementType, strings.Replace(payloadOf(t, seal(t, signOffAction())), `"sign_off":`, `"sign_on":`, 1)},
	} {
		envelope := wrap(t, testKey(t), c.kind, c.payload)
		if _, err := signoff.Open(envelope, ring(testKey(t))); !errors.Is(err, signoff.ErrUnknownKind) {
			t.Errorf("%s: %v", c.payload, err)
		}
		forged := strings.Replace(string(wrap(t, other, c.kind, c.payload)), string(signoff.Fingerprint(public(other))), string(signoff.Fingerprint(public(testKey(t)))), 1)
		if _, err := signoff.Open([]byte(forged), ring(testKey(t))); !errors.Is(err, signoff.ErrSignature) {
			t.Errorf("%s signed by another key: %v", c.payload, err)
		}
	}
}

// TestEveryFieldCanBeSigned: the strict walk knows each kind of field that an action has.
func TestEveryFieldCanBeSigned(t *testing.T) {
	seen := map[protoreflect.FullName]bool{}
	var walk func(d protoreflect.MessageDescriptor)
	walk = func(d protoreflect.MessageDescriptor) {
		if seen[d.FullName()] {
			return
		}
		seen[d.FullName()] = true
		for i := range d.Fields().Len() {
			f := d.Fields().Get(i)
			if f.IsMap() {
				if f.MapKey().Kind() != protoreflect.StringKind {
					t.Errorf("%s: a map by %s", f.FullName(), f.MapKey().Kind())
				}
				if f = f.MapValue(); f.Message() != nil {
					t.Errorf("%s: a map of messages, in which no sealed text is looked for", f.FullName())
				}
			}
			switch f.Kind() {
			case protoreflect.MessageKind:
				walk(f.Message())
			case protoreflect.StringKind, protoreflect.BoolKind, protoreflect.Uint32Kind:
			default:
				t.Errorf("%s is a %s, which strict.go refuses", f.FullName(), f.Kind())
			}
		}
	}
	walk((*recordv1.Action)(nil).ProtoReflect().Descriptor())
	if len(seen) < 15 {
		t.Errorf("only %d messages walked", len(seen))
	}
}
