package signoff_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

func kinds(t *testing.T) []protoreflect.FieldDescriptor {
	fields := (*recordv1.Action)(nil).ProtoReflect().Descriptor().Oneofs().ByName("body").Fields()
	if fields.Len() < 20 {
		t.Fatalf("%d kinds, 20 at least are signed", fields.Len())
	}
	var out []protoreflect.FieldDescriptor
	for i := range fields.Len() {
		out = append(out, fields.Get(i))
	}
	return out
}

// fill sets fields of m at random, all of them where full; hashes are hashes, other texts anything.
func fill(m protoreflect.Message, rng *rand.Rand, full bool) {
	for i := range m.Descriptor().Fields().Len() {
		f := m.Descriptor().Fields().Get(i)
		one := func(value protoreflect.Value) protoreflect.Value {
			kind := f.Kind()
			if f.IsMap() {
				kind = f.MapValue().Kind()
			}
			switch kind {
			case protoreflect.MessageKind:
				fill(value.Message(), rng, full)
				return value
			case protoreflect.BoolKind:
				return protoreflect.ValueOfBool(true)
			case protoreflect.Uint32Kind:
				return protoreflect.ValueOfUint32(1 + rng.Uint32()>>1)
			}
			if f.Name() == "commitment" || f.Name() == "image_sha256" {
				return protoreflect.ValueOfString(fmt.Sprintf("%064x", rng.Uint64()))
			}
			return protoreflect.ValueOfString([]string{"HC 18", "<é& \u2028>", "\"\\\n\x00", "Ж𝄞"}[rng.IntN(4)])
		}
		switch {
		case f.ContainingOneof() != nil || !full && f.Name() != "image_sha256" && rng.IntN(3) == 0:
		case f.IsMap():
			for _, key := range []string{"b", "", "a.\"x"} {
				m.Mutable(f).Map().Set(protoreflect.ValueOfString(key).MapKey(), one(protoreflect.Value{}))
			}
		case f.IsList() && f.Message() != nil:
			fill(m.Mutable(f).List().AppendMutable().Message(), rng, full)
			m.Mutable(f).List().AppendMutable()
		case f.IsList():
			m.Mutable(f).List().Append(one(protoreflect.Value{}))
		case f.Message() != nil:
			one(m.Mutable(f))
		default:
			m.Set(f, one(protoreflect.Value{}))
		}
	}
}

// TestEveryKind: whatever a kind's message holds, it seals, opens as the same, and says who may sign it.
func TestEveryKind(t *testing.T) {
	seed := rand.Uint64()
	rng := rand.New(rand.NewPCG(seed, 0))
	for _, kind := range kinds(t) {
		for round := range 6 {
			a := &recordv1.Action{}
			if round > 0 {
				fill(a.ProtoReflect(), rng, round == 1)
				a.Form = 0
			}
			fill(a.ProtoReflect().Mutable(kind).Message(), rng, round == 1)
			want := proto.CloneOf(a)
			want.Form = leastForm(want)
			preview, err := signoff.Preview(a)
			if err != nil {
				t.Fatalf("seed %d: %s: %v", seed, kind.Name(), err)
			}
			envelope := seal(t, a)
			got, err := signoff.Open(envelope, ring(testKey(t)))
			if err != nil || got.Kind != string(kind.Name()) || !proto.Equal(got.Action, want) || payloadOf(t, envelope) != string(preview) {
				t.Fatalf("seed %d: %s opened as %v, %v", seed, kind.Name(), got, err)
			}
		}
		if len(signoff.RolesOf(string(kind.Name()))) == 0 {
			t.Errorf("%s says nobody may sign it", kind.Name())
		}
	}
}

func TestRoles(t *testing.T) {
	for kind, want := range map[string]string{
		"sign_off": "calibrator lead", "return": "technician calibrator lead", "collect": "technician lead", "erase": "lead",
		"signOff": "", "form": "", "": "", "inspection": "",
	} {
		var got []string
		for _, r := range signoff.RolesOf(kind) {
			got = append(got, signoff.RoleName(r))
			if back, err := signoff.ParseRole(signoff.RoleName(r)); back != r || err != nil {
				t.Errorf("%s: role %v came back as %v, %v", kind, r, back, err)
			}
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%s may be signed by %v, want %q", kind, got, want)
		}
	}
	for _, bad := range []string{"", "Lead", "unspecified", "ROLE_LEAD", "lead ", "mechanic", "ſead"} {
		if role, err := signoff.ParseRole(bad); !errors.Is(err, signoff.ErrForm) || role != 0 {
			t.Errorf("%q is role %v, %v", bad, role, err)
		}
	}
}

// TestLaterForms: what came with a later form is written in that form, where it is set, and nothing else is.
func TestLaterForms(t *testing.T) {
	const carried, of, outside = `"definition_carried":true`, `"of":"7.12"`, `"corridor":{"corridor":1}`
	for _, c := range []struct{ kind, set, form, says string }{
		{"job", carried, "3", ""},
		{"job", carried, "2", "is 2; what it sets is of form 3"},
		{"job", carried, "4", "is 4; what it sets is of form 3"},
		{"job", ``, "3", "is 3; what it sets is of form 2"},
		{"job", ``, "2", ""},
		{"job", `"definition_carried":false`, "2", "definition_carried: false, allowed is true"},
		{"run", of, "4", ""},
		{"run", of, "2", "is 2; what it sets is of form 4"},
		{"run", of, "3", "is 3; what it sets is of form 4"},
		{"run", ``, "4", "is 4; what it sets is of form 2"},
		{"run", ``, "2", ""},
		{"run", `"of":""`, "2", "of: empty, allowed is a name"},
		{"run", `"of":""`, "4", "of: empty, allowed is a name"},
		{"submission", outside, "4", ""},
		{"submission", outside, "2", "is 2; what it sets is of form 4"},
		{"submission", `"corridor":{}`, "2", "is 2; what it sets is of form 4"},
		{"submission", `"corridor":{}`, "4", ""},
		{"submission", ``, "4", "is 4; what it sets is of form 2"},
		{"submission", ``, "2", ""},
		{"corridor", ``, "4", ""},
		{"corridor", ``, "2", "is 2; what it sets is of form 4"},
		{"corridor", `"by_author":false,"reason":""`, "4", ""}, // no program knows the kind without its fields
		{"corridor_close", ``, "4", ""},
		{"corridor_close", ``, "3", "is 3; what it sets is of form 4"},
	} {
		payload := fmt.Sprintf(`{"form":%s,"request_id":"r",%q:{%s}}`, c.form, c.kind, c.set)
		_, err := signoff.Open(wrap(t, testKey(t), signoff.ActionType, payload), ring(testKey(t)))
		if c.says == "" && err != nil || c.says != "" && (!errors.Is(err, signoff.ErrForm) || !strings.Contains(err.Error(), c.says)) {
			t.Errorf("%s: %v, want %q", payload, err, c.says)
		}
	}
	a := header()
	a.Form, a.Body = 0, &recordv1.Action_Run{Run: &recordv1.AddRun{Of: "7.12"}}
	if payload := payloadOf(t, seal(t, a)); !strings.Contains(payload, `"form":4,`) {
		t.Errorf("a run of a map is written as %s", payload)
	}
}

// TestForms: a higher form asks for an upgrade whatever else it holds; the first version had none.
func TestForms(t *testing.T) {
	collect, yes := payloadOf(t, seal(t, collectAction())), payloadOf(t, seal(t, signOffAction()))
	form := func(payload, form string) string { return strings.Replace(payload, `"form":2,`, form, 1) }
	for _, c := range []struct {
		name, payload string
		want          error
		says          string
	}{
		{"as it is", form(collect, `"form":5,`), signoff.ErrUnknownKind, "form 5"},
		{"far above", form(collect, `"form":99999999999999999999999,`), signoff.ErrUnknownKind, "form 18446744073709551615"},
		{"unknown field inside", strings.Replace(form(collect, `"form":5,`), `"submission":2`, `"submission":{"x":[1.5,null]}`, 1), signoff.ErrUnknownKind, ""},
		{"form at its end", `{"seen":null,"two":1,"three":{},"form":5}`, signoff.ErrUnknownKind, ""},
		{"nothing else", `{"form":5}`, signoff.ErrUnknownKind, ""},
		{"statement", form(yes, `"form":5,`), signoff.ErrUnknownKind, ""},
		{"statement with more in it", strings.Replace(form(yes, `"form":5,`), `"subject":[`, `"more":1,"subject":[7,`, 1), signoff.ErrUnknownKind, ""},
		{"statement of another type", strings.Replace(form(yes, `"form":5,`), "sign-off:v2", "sign-off:v3", 1), signoff.ErrUnknownKind, ""},
		{"no form", form(collect, ``), signoff.ErrForm, "first version"},
		{"form 1", form(collect, `"form":1,`), signoff.ErrForm, "first version"},
		{"form 0", form(collect, `"form":0,`), signoff.ErrForm, "first version"},
		{"statement without", strings.Replace(form(yes, ``), `"image_sha256"`, `"base_sha256":"","image_sha256"`, 1), signoff.ErrForm, "first version"},
		{"twice", form(collect, `"form":5,"form":5,`), signoff.ErrForm, "there twice"},
		{"in quotes", form(collect, `"form":"5",`), signoff.ErrForm, "allowed is a whole number"},
		{"with a point", form(collect, `"form":5.0,`), signoff.ErrForm, "allowed is a whole number"},
		{"negative", form(collect, `"form":-5,`), signoff.ErrForm, "allowed is a whole number"},
		{"something after it", form(collect, `"form":5,`) + "1", signoff.ErrForm, "follows the end"},
		{"a name twice", strings.Replace(form(collect, `"form":5,`), `"submission":2`, `"submission":2,"submission":2`, 1), signoff.ErrForm, "there twice"},
	} {
		payloadType := signoff.ActionType
		if strings.HasPrefix(c.name, "statement") {
			payloadType = signoff.StatementType
		}
		_, err := signoff.Open(wrap(t, testKey(t), payloadType, c.payload), ring(testKey(t)))
		if !errors.Is(err, c.want) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %v with %q", c.name, err, c.want, c.says)
		}
		oneLine(t, err)
	}
	for _, other := range []uint32{1, 3, 4, 5} {
		a := collectAction()
		a.Form = other
		if _, err := signoff.Seal(a, testKey(t)); err == nil {
			t.Errorf("form %d was sealed", other)
		}
	}
}
