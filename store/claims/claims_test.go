package claims

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
	"witnessmark/tables/image"
)

// said are the fields that are their signer's own words, or that record's rules hold against the
// state: no claim about bytes. Everything else that an action holds must be refused when it is wrong.
var said = []string{
	"form", "genesis", "request_id", "acts_on", "seen", "time",
	"*.job", "*.image.file_format", "*.image_sha256", // of what the record has
	"*.details.car_said", "*.details.limits.name", "*.details.parts", "*.details.fuel", "*.details.numbers",
	"read.with_holes", "submission.from", "submission.meant_given", "submission.meant",
	"sign_off.reason", "sign_off.because", "sign_off.by_author", "sign_off.submission",
	"collect.submission", "collect.car_checked_by", "read_back.not_possible",
	"run.when", "note.submission",
	"corridor.from", "corridor.from_sha256", "corridor.authors", "corridor.most", "corridor.maps", "corridor.definition", "corridor.limits",
	"corridor.fuel", "corridor.numbers", "corridor.reason", "corridor.by_author",
}

func isSaid(path string) bool {
	_, below, _ := strings.Cut(path, ".")
	return slices.ContainsFunc(said, func(s string) bool {
		return path == s || strings.HasPrefix(path, s+".") || s[0] == '*' && (below == s[2:] || strings.HasSuffix(path, s[1:]))
	})
}

// wrongs visits an action once for each of its fields, with that field made wrong.
func wrongs(a *recordv1.Action, visit func(path string, wrong *recordv1.Action)) {
	var walk func(path string, reach func(*recordv1.Action) protoreflect.Message, depth int)
	walk = func(path string, reach func(*recordv1.Action) protoreflect.Message, depth int) {
		m := reach(a)
		for i := range m.Descriptor().Fields().Len() {
			f := m.Descriptor().Fields().Get(i)
			name := strings.TrimPrefix(path+"."+string(f.Name()), ".")
			if f.ContainingOneof() != nil && !m.Has(f) || depth > 4 {
				continue // another kind of action
			}
			if f.Message() != nil && !f.IsMap() && !f.IsList() && m.Has(f) {
				walk(name, func(a *recordv1.Action) protoreflect.Message { return reach(a).Mutable(f).Message() }, depth+1)
				if f.ContainingOneof() != nil {
					continue
				}
			}
			wrong := proto.CloneOf(a)
			spoil(reach(wrong), f)
			visit(name, wrong)
		}
	}
	walk("", func(a *recordv1.Action) protoreflect.Message { return a.ProtoReflect() }, 0)
}

// spoil makes a field something that it was not: a message that is there goes, one that is not comes.
func spoil(m protoreflect.Message, f protoreflect.FieldDescriptor) {
	v := m.Get(f)
	switch {
	case f.IsMap():
		m.Mutable(f).Map().Set(protoreflect.ValueOfString("new").MapKey(), protoreflect.ValueOfString("1"))
	case f.IsList() && f.Message() != nil:
		list := m.Mutable(f).List()
		list.Append(list.NewElement())
	case f.IsList():
		m.Mutable(f).List().Append(protoreflect.ValueOfString("new"))
	case f.Message() != nil && m.Has(f):
		m.Clear(f)
	case f.Message() != nil:
		if sealed, ok := m.Mutable(f).Message().Interface().(*recordv1.Sealed); ok {
			sealed.Commitment = strings.Repeat("ab", 32)
		}
	case f.Kind() == protoreflect.BoolKind:
		m.Set(f, protoreflect.ValueOfBool(!v.Bool()))
	case f.Kind() == protoreflect.StringKind && len(v.String()) == 64:
		m.Set(f, protoreflect.ValueOfString(strings.Repeat("ab", 32)))
	case f.Kind() == protoreflect.StringKind:
		m.Set(f, protoreflect.ValueOfString(v.String()+"x"))
	default:
		m.Set(f, protoreflect.ValueOfUint32(uint32(v.Uint())+1))
	}
}

// TestEveryClaimIsChecked makes every field of every kind of action wrong, one at a time.
func TestEveryClaimIsChecked(t *testing.T) {
	w := story(t)
	c, kinds, claims := New(), map[string]bool{}, map[string]bool{}
	for _, e := range w.entered {
		kinds[signoff.Kind(e.action)] = true
		src := past{w, e.before}
		wrongs(e.action, func(path string, wrong *recordv1.Action) {
			was := proto.CloneOf(wrong)
			made, err := c.Check(src, wrong, e.openings)
			if !proto.Equal(was, wrong) {
				t.Errorf("%s: checking changed the action", path)
			}
			if isSaid(path) {
				return
			}
			claims[path] = true
			if err == nil || made != nil {
				t.Errorf("%s is wrong, and was not refused", path)
			}
		})
		if _, err := c.Check(src, e.action, e.openings); err != nil {
			t.Errorf("%s as it was entered: %v", signoff.Kind(e.action), err)
		}
	}
	if len(kinds) != 12 || len(claims) < 60 {
		t.Errorf("%d kinds, %d claims", len(kinds), len(claims))
	}
}

// TestRefusals: what is wrong is named by its place, what is right, and what the action says.
func TestRefusals(t *testing.T) {
	w := story(t)
	zero := strings.Repeat("0", 64)
	for _, c := range []struct {
		kind, reason, at string
		spoil            func(a *recordv1.Action)
	}{
		{"definition", ReasonClaim, "definition.revision.name", func(a *recordv1.Action) { a.GetDefinition().Revision.Name = "other" }},
		{"definition", ReasonDocument, "definition", func(a *recordv1.Action) { a.GetDefinition().Revision = w.file("name: [") }},
		{"limits", ReasonClaim, "limits.revision.name", func(a *recordv1.Action) { a.GetLimits().Revision.Name = "other" }},
		{"limits", ReasonClaim, "limits.judged_worse", func(a *recordv1.Action) { a.GetLimits().JudgedWorse = nil }},
		{"limits", ReasonFit, "limits", func(a *recordv1.Action) {
			a.GetLimits().Revision = w.file(strings.Replace(road, "unit: kPa", "unit: Cel", 1))
		}},
		{"limits", record.ReasonNotFound, "applies_to[1]", func(a *recordv1.Action) {
			a.GetLimits().Revision = w.file(strings.Replace(road, "[tiny]", "[tiny, tinny]", 1))
		}},
		{"definition", ReasonFit, "limits", func(a *recordv1.Action) {
			a.GetDefinition().Revision = w.file(strings.Replace(tiny, "unit: kPa", "unit: Cel", 1))
		}},
		{"job", ReasonClaim, "job.details.limits_fuel", func(a *recordv1.Action) { a.GetJob().Details.LimitsFuel = nil }},
		{"job", ReasonClaim, "job.details.car", func(a *recordv1.Action) { a.GetJob().Details.Car = 1 }},
		{"job", ReasonNumbers, "job.details.numbers", func(a *recordv1.Action) { a.GetJob().Details.Numbers["wheel"] = "wide" }},
		{"job", record.ReasonBadValue, "limits.sha256", func(a *recordv1.Action) { a.GetJob().Details.Limits = nil }},
		{"read", ReasonClaim, "read.holes", func(a *recordv1.Action) {
			a.GetRead().Holes = image.Messages([]image.Range{{Start: 0x1000, End: 0x1004}})
		}},
		{"read", ReasonClaim, "read.check.verdict", func(a *recordv1.Action) { a.GetRead().Check.Verdict = "danger" }},
		{"read", ReasonClaim, "read.last_known", func(a *recordv1.Action) { a.GetRead().LastKnown = &recordv1.LastKnown{Job: 1} }},
		{"read", ReasonImage, "read.image", func(a *recordv1.Action) { a.GetRead().Image = w.image(edited(picture("FRAME001", 110), 0, 'X')) }},
		{"read", ReasonImage, "read.image.size", func(a *recordv1.Action) { a.GetRead().Image.Sha256 = w.put([]byte("short")) }},
		{"read", ReasonOtherFrame, "read.frame", func(a *recordv1.Action) { a.GetRead().Image = w.image(picture("FRAME002", 110)) }},
		{"submission", ReasonReport, "submission.judgement.report_sha256", func(a *recordv1.Action) { a.GetSubmission().Judgement.ReportSha256 = zero }},
		{"submission", ReasonClaim, "submission.judgement.base_sha256", func(a *recordv1.Action) { a.GetSubmission().Judgement.BaseSha256 = zero }},
		{"submission", ReasonClaim, "submission.judgement.warnings", func(a *recordv1.Action) { a.GetSubmission().Judgement.Warnings = []string{"high:boost"} }},
		{"submission", ReasonClaim, "submission.judgement.as_found_sha256", func(a *recordv1.Action) { a.GetSubmission().Judgement.AsFoundSha256 = zero }},
		{"submission", ReasonComparison, "", func(a *recordv1.Action) { a.GetSubmission().Meant = []string{"no such table"} }},
		{"sign_off", ReasonClaim, "sign_off.judgement.fuel", func(a *recordv1.Action) { a.GetSignOff().Judgement.Fuel = "95 RON" }},
		{"sign_off", ReasonClaim, "sign_off.judgement", func(a *recordv1.Action) { a.GetSignOff().Judgement = nil }},
		{"sign_off", record.ReasonNotFound, "sign_off.submission", func(a *recordv1.Action) { a.GetSignOff().Submission = 9 }},
		{"collect", ReasonClaim, "collect.judgement.numbers", func(a *recordv1.Action) { a.GetCollect().Judgement.Numbers["wheel"] = "60" }},
		{"read_back", ReasonClaim, "read_back.matches", func(a *recordv1.Action) { a.GetReadBack().Matches = false }},
		{"read_back", ReasonClaim, "read_back.report_sha256", func(a *recordv1.Action) { a.GetReadBack().ReportSha256 = zero }},
		{"run", ReasonClaim, "run.danger", func(a *recordv1.Action) { a.GetRun().Danger = true }},
		{"run", ReasonRun, "run.file_sha256", func(a *recordv1.Action) { a.GetRun().FileSha256 = w.put([]byte("no run")) }},
		{"note", ReasonClaim, "note.files[0].size", func(a *recordv1.Action) { a.GetNote().Files[0].Size++ }},
		{"note", record.ReasonNotFound, "note.table", func(a *recordv1.Action) { a.GetNote().Table = "nothing.here" }},
		{"amend", record.ReasonOpening, "amend.details.note", func(a *recordv1.Action) { a.GetAmend().Details.Note = &recordv1.Sealed{Commitment: zero} }},
		{"amend", record.ReasonOpening, "amend.details.note", func(a *recordv1.Action) { // a text is of one field
			a.GetAmend().Details.Note = w.entered[2].action.GetJob().GetDetails().GetPlate()
		}},
		{"amend", record.ReasonNotFound, "amend.job", func(a *recordv1.Action) { a.GetAmend().Job = 9 }},
	} {
		i := slices.IndexFunc(w.entered, func(e entered) bool { return signoff.Kind(e.action) == c.kind })
		if c.kind == "limits" || c.kind == "definition" { // the last one, which meets a job
			i = len(w.entered) - 1
			for signoff.Kind(w.entered[i].action) != c.kind {
				i--
			}
		}
		e := w.entered[i]
		a := proto.CloneOf(e.action)
		c.spoil(a)
		_, err := New().Check(past{w, e.before}, a, e.openings)
		if reason, at := refused(t, err); reason != c.reason || at != c.at {
			t.Errorf("%s: %s at %q; want %s at %q (%v)", c.kind, reason, at, c.reason, c.at, err)
		}
	}
}

// TestWordsOfARefusal: one that differs says what is right and what the action says.
func TestWordsOfARefusal(t *testing.T) {
	w := story(t)
	e := w.entered[4]
	a := proto.CloneOf(e.action)
	a.GetSubmission().Judgement.Verdict = "danger\x1b[2J"
	_, err := New().Check(past{w, e.before}, a, e.openings)
	want := "submission.judgement.verdict: the action says danger\ufffd[2J; right is clear"
	if err == nil || err.Error() != want || err.(*record.Refusal).Allowed != "clear" {
		t.Errorf("%v; want %s", err, want)
	}
}

func TestOneLine(t *testing.T) {
	got := oneLine(errors.New("a\nb\x1b" + strings.Repeat("ü", 2000)))
	if !strings.HasPrefix(got, "a; b\ufffdü") || utf8.RuneCountInString(got) != 1001 || !strings.HasSuffix(got, "ü…") {
		t.Errorf("%d characters, %.20q", utf8.RuneCountInString(got), got)
	}
}

// TestOlderState: a claim is by the newest revisions of the moment that it is checked at.
func TestOlderState(t *testing.T) {
	w := story(t)
	e := w.entered[5] // the first sign-off
	if signoff.Kind(e.action) != "sign_off" {
		t.Fatal("another entry")
	}
	if _, err := w.c.Check(past{w, e.before}, e.action, e.openings); err != nil {
		t.Errorf("then: %v", err)
	}
	_, err := w.c.Check(w, e.action, e.openings)
	if reason, at := refused(t, err); reason != ReasonClaim || at != "sign_off.judgement.definition.sha256" {
		t.Errorf("now: %s at %s", reason, at)
	}
	w.do(w.amend(1, "AB-12", "", ""))
	a := w.sign(1, 1, "high:boost")
	made, err := w.c.Fill(w, a, nil)
	if err != nil || a.GetSignOff().GetJudgement().GetVerdict() != "warning" || made.Report.GetVerdict() != "warning" {
		t.Errorf("by the stricter limits: %v, %v", a.GetSignOff().GetJudgement(), err)
	}
}

func TestOpenings(t *testing.T) {
	w := newWorld(t)
	a := w.open("AB-1", "F1", "")
	all := w.sealed
	w.sealed = nil
	other := signoff.NewOpening("note", "of nothing", strings.NewReader(strings.Repeat("x", 32)))
	blank := signoff.NewOpening("plate", "--", strings.NewReader(strings.Repeat("x", 32)))
	shut := proto.CloneOf(a)
	shut.GetJob().Details.Plate.Commitment = blank.GetCommitment()
	forged := proto.CloneOf(all[1])
	forged.Text = "F2"
	for name, c := range map[string]struct {
		a        *recordv1.Action
		openings []*recordv1.Opening
		reason   string
	}{
		"missing":          {a, all[:1], record.ReasonOpening},
		"none":             {a, nil, record.ReasonOpening},
		"twice":            {a, append(slices.Clone(all), all[0]), record.ReasonOpening},
		"of nothing":       {a, append(slices.Clone(all), other), record.ReasonOpening},
		"forged":           {a, []*recordv1.Opening{all[0], forged}, record.ReasonOpening},
		"no plate at all":  {shut, []*recordv1.Opening{blank, all[1]}, record.ReasonBadValue},
		"unknown and none": {&recordv1.Action{}, nil, ""},
	} {
		_, err := w.c.Fill(w, c.a, c.openings)
		if c.reason == "" {
			if err != record.ErrUnknownKind {
				t.Errorf("%s: %v", name, err)
			}
		} else if reason, _ := refused(t, err); reason != c.reason {
			t.Errorf("%s: %v", name, err)
		}
		if err != nil && (strings.Contains(err.Error(), "F1") || strings.Contains(err.Error(), "F2")) {
			t.Errorf("%s: tells the text: %v", name, err)
		}
	}
	w.sealed = all
	w.do(a)
	again := w.amend(1, "AB-1", "", "") // a text that stays keeps its commitment, and needs no opening
	again.GetAmend().Details.Plate, again.GetAmend().Details.Frame = a.GetJob().GetDetails().GetPlate(), a.GetJob().GetDetails().GetFrame()
	w.sealed = nil
	w.do(again)
}

// failing is a source of which one call fails.
type failing struct {
	past
	left *int
	err  error
}

func (f failing) fails() bool { *f.left--; return *f.left == 0 }

func (f failing) View(fn func(*record.State) error) error {
	if f.fails() {
		return f.err
	}
	return f.past.View(fn)
}

func (f failing) Blob(what string, sha image.Hash) ([]byte, error) {
	if f.fails() {
		return nil, f.err
	}
	return f.past.Blob(what, sha)
}

// TestSourceFails: whichever of its answers fails, that is the error, and nothing is claimed.
func TestSourceFails(t *testing.T) {
	w := story(t)
	for _, e := range w.entered {
		for _, err := range []error{errors.New("disk"), ErrErased} {
			for call := 1; ; call++ {
				left := call
				made, got := New().Check(failing{past{w, e.before}, &left, err}, e.action, e.openings)
				if left > 0 { // it was not asked that often
					if got != nil || call == 1 {
						t.Errorf("%s: %v", signoff.Kind(e.action), got)
					}
					break
				}
				if !errors.Is(got, err) || made != nil {
					t.Errorf("%s, call %d: %v", signoff.Kind(e.action), call, got)
				}
			}
		}
	}
}
