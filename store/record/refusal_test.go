package record

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"strconv"
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

type action = recordv1.Action

// ranges replaces what an image's file held.
func ranges(im *recordv1.Image, bounds ...uint32) {
	im.Ranges = nil
	for i := 0; i < len(bounds); i += 2 {
		im.Ranges = append(im.Ranges, &calibrationv1.AddressRange{Start: bounds[i], End: bounds[i+1]})
	}
}

// faults are single wrong things in actions that are right but for them, on the state `ready`
// with another submission signed (2.1) and nothing of it collected.
var faults = []struct {
	line, reason, at string
	tweak            func(a *action)
}{
	// What every action says.
	{"T opens A", ReasonOtherLedger, "genesis", func(a *action) { a.Genesis = "" }},
	{"T opens A", ReasonBadValue, "time", func(a *action) { a.Time = "2026-05-01T09:00:00+00:00" }},
	{"T opens A", ReasonBadValue, "time", func(a *action) { a.Time = "2026-05-01 09:00:00Z" }},
	{"T opens A", ReasonBadValue, "time", func(a *action) { a.Time = "2026-05-01T09:00:00,5Z" }},
	{"T opens A", ReasonBadValue, "time", func(a *action) { a.Time = "2026-05-01T9:00:00Z" }},
	{"T opens A", ReasonBadValue, "time", func(a *action) { a.Time = "2026-05-01T09:00:00.50Z" }},
	{"T opens A", ReasonBadValue, "time", func(a *action) { a.Time = "2026-02-30T09:00:00Z" }},
	{"T opens A", ReasonBadValue, "time", func(a *action) { a.Time = "" }},
	{"T opens A", ReasonBadValue, "request_id", func(a *action) { a.RequestId = "" }},
	{"T opens A", ReasonBadValue, "request_id", func(a *action) { a.RequestId = strings.Repeat("r", 201) }},
	{"T opens A", ReasonSeen, "seen.size", func(a *action) { a.Seen = nil }},
	{"T opens A", ReasonSeen, "seen.root", func(a *action) { a.Seen.Root = strings.ToUpper(a.Seen.Root) }},
	{"T opens A", ReasonActsOn, "acts_on", func(a *action) { a.ActsOn = "" }},
	// People and keys.
	{"L enrols N technician", ReasonBadValue, "enrol.name", func(a *action) { a.GetEnrol().Name = "" }},
	{"L enrols N technician", ReasonBadValue, "enrol.name", func(a *action) { a.GetEnrol().Name = " N" }},
	{"L enrols N technician", ReasonBadValue, "enrol.name", func(a *action) { a.GetEnrol().Name = "N\nM" }},
	{"L enrols N technician", ReasonBadValue, "enrol.name", func(a *action) { a.GetEnrol().Name = "N\u202eM" }},
	{"L enrols N technician", ReasonBadValue, "enrol.name", func(a *action) { a.GetEnrol().Name = "C\u200b" }},
	{"L enrols N technician", ReasonBadValue, "enrol.name", func(a *action) { a.GetEnrol().Name = strings.Repeat("é", 65) }},
	{"L enrols N technician", ReasonBadValue, "enrol.roles", func(a *action) { a.GetEnrol().Roles = nil }},
	{"L enrols N technician", ReasonBadValue, "enrol.roles", func(a *action) { a.GetEnrol().Roles = []string{"boss"} }},
	{"L enrols N technician", ReasonBadValue, "enrol.roles", func(a *action) { a.GetEnrol().Roles = []string{lead, lead} }},
	{"L enrols N technician", ReasonBadValue, "enrol.public_key", func(a *action) { a.GetEnrol().PublicKey = "ssh-rsa AAAA" }},
	{"L enrols N technician", ReasonBadValue, "enrol.public_key", func(a *action) { a.GetEnrol().PublicKey += " me@bay" }},
	{"L retires D", ReasonNotFound, "retire.name", func(a *action) { a.GetRetire().Name = "d" }},
	{"L rekeys-server s2", ReasonBadValue, "server_key.public_key", func(a *action) { a.GetServerKey().PublicKey = "" }},
	// Documents.
	{"L defines d D2", ReasonBadValue, "definition.name", func(a *action) { a.GetDefinition().GetRevision().Name = "D" }},
	{"L defines d D2", ReasonBadValue, "definition.name", func(a *action) { a.GetDefinition().Revision = nil }},
	{"L defines d D2", ReasonBadValue, "definition.sha256", func(a *action) { a.GetDefinition().GetRevision().Sha256 = "00" }},
	{"L limits l L1", ReasonNoChange, "limits.sha256", nil},
	// Jobs.
	{"T opens A", ReasonBadValue, "job.car", func(a *action) { a.GetJob().Car = "" }},
	{"T opens A", ReasonBadValue, "job.car", func(a *action) { a.GetJob().Car = "- -" }},
	{"T opens A", ReasonBadValue, "job.frame_digest", func(a *action) { a.GetJob().FrameDigest = "WVW1" }},
	{"T opens A", ReasonNotFound, "job.definition.name", func(a *action) { a.GetJob().Definition.Name = "other" }},
	{"T opens A", ReasonNotFound, "job.limits.name", func(a *action) { a.GetJob().Limits = nil }},
	{"T opens A", ReasonOlderRevision, "job.limits.sha256", func(a *action) { a.GetJob().Limits.Sha256 = sha("L0") }},
	{"T opens A", ReasonBadValue, "job.fuel", func(a *action) { a.GetJob().Fuel = "98\tRON" }},
	{"T opens A", ReasonBadValue, "job.parts", func(a *action) { a.GetJob().Parts = []string{""} }},
	{"T opens A", ReasonBadValue, "job.parts", func(a *action) { a.GetJob().Parts = make([]string, 101) }},
	{"T opens A", ReasonBadValue, "job.numbers", func(a *action) { a.GetJob().Numbers = map[string]string{"Rotor": "1"} }},
	{"T opens A", ReasonBadValue, "job.numbers", func(a *action) { a.GetJob().Numbers = map[string]string{"": "1"} }},
	{"T opens A", ReasonBadValue, "job.numbers", func(a *action) { a.GetJob().Numbers = map[string]string{"9a": "1"} }},
	{"T opens A", ReasonBadValue, "job.numbers", func(a *action) { a.GetJob().Numbers = map[string]string{"a-b": "1"} }},
	{"T opens A", ReasonBadValue, "job.numbers.a", func(a *action) { a.GetJob().Numbers = map[string]string{"a": ""} }},
	{"T opens A", ReasonBadValue, "job.numbers.a", func(a *action) { a.GetJob().Numbers = map[string]string{"a": "x"} }},
	{"T opens A", ReasonBadValue, "job.numbers.a", func(a *action) { a.GetJob().Numbers = map[string]string{"a": "NaN"} }},
	{"T opens A", ReasonBadValue, "job.numbers.a", func(a *action) { a.GetJob().Numbers = map[string]string{"a": "+Inf"} }},
	{"T opens A", ReasonBadValue, "job.numbers.a", func(a *action) { a.GetJob().Numbers = map[string]string{"a": "-0"} }},
	{"T opens A", ReasonBadValue, "job.numbers.a", func(a *action) { a.GetJob().Numbers = map[string]string{"a": "1.0"} }},
	{"T opens A", ReasonBadValue, "job.numbers.a", func(a *action) { a.GetJob().Numbers = map[string]string{"a": "01"} }},
	{"T opens A", ReasonBadValue, "job.numbers.a", func(a *action) { a.GetJob().Numbers = map[string]string{"a": "+1"} }},
	{"T opens A", ReasonBadValue, "job.numbers.a", func(a *action) { a.GetJob().Numbers = map[string]string{"a": "1e3"} }},
	{"T opens A", ReasonBadValue, "job.numbers.a", func(a *action) { a.GetJob().Numbers = map[string]string{"a": " 1"} }},
	{"T opens A", ReasonBadValue, "job.numbers.a", func(a *action) { a.GetJob().Numbers = map[string]string{"a": "0x10"} }},
	{"T opens A", ReasonBadValue, "job.numbers.a", func(a *action) { a.GetJob().Numbers = map[string]string{"a": "1_0"} }},
	{"T opens A", ReasonBadValue, "job.numbers.a", func(a *action) { a.GetJob().Numbers = map[string]string{"a": "1000000000001"} }},
	{"T opens A", ReasonBadValue, "job.numbers.a", func(a *action) {
		a.GetJob().Numbers = map[string]string{"a": "0.00000000000000000000000000000000000000001"}
	}},
	{"T opens A", ReasonBadValue, "job.numbers", func(a *action) { a.GetJob().Numbers = manyNumbers(65) }},
	{"T opens A", ReasonBadValue, "job.limits_fuel", func(a *action) { a.GetJob().LimitsFuel = []string{"98-RON", ""} }},
	{"T opens A", ReasonBadValue, "job.note", func(a *action) { a.GetJob().Note = strings.Repeat("n", 4001) }},
	{"T opens A", ReasonFuel, "job.fuel", func(a *action) { a.GetJob().LimitsFuel = []string{"E85"} }},
	// Reads.
	{"T reads 1 again", ReasonNotFound, "read.job", func(a *action) { a.GetRead().Job = 99 }},
	{"T reads 1 again", ReasonNotFound, "read.job", func(a *action) { a.GetRead().Job = 0 }},
	{"T reads 1 again", ReasonBadValue, "read.image", func(a *action) { a.GetRead().Image = nil }},
	{"T reads 1 again", ReasonBadValue, "read.image.sha256", func(a *action) { a.GetRead().Image.Sha256 = sha("x")[1:] }},
	{"T reads 1 again", ReasonBadValue, "read.image.size", func(a *action) { a.GetRead().Image.Size = 0 }},
	{"T reads 1 again", ReasonBadValue, "read.image.file_format", func(a *action) { a.GetRead().Image.FileFormat = "bin" }},
	{"T reads 1 again", ReasonBadValue, "read.image.ranges", func(a *action) { ranges(a.GetRead().Image) }},
	{"T reads 1 again", ReasonBadValue, "read.image.ranges", func(a *action) { ranges(a.GetRead().Image, 4, 4) }},
	{"T reads 1 again", ReasonBadValue, "read.image.ranges", func(a *action) { ranges(a.GetRead().Image, 4, 8, 0, 2) }},
	{"T reads 1 again", ReasonBadValue, "read.image.ranges", func(a *action) { ranges(a.GetRead().Image, 0, 8, 4, 12) }},
	{"T reads 1 again", ReasonBadValue, "read.image.ranges", func(a *action) { ranges(a.GetRead().Image, 0, 8, 9, 17) }},
	{"T reads 1 again", ReasonBadValue, "read.check", func(a *action) { a.GetRead().Check = &recordv1.Judgement{} }},
	{"T reads 7 first", ReasonBadValue, "read.check", func(a *action) { a.GetRead().Check = nil }},
	{"T reads 7 first", ReasonLastKnown, "read.last_known", func(a *action) { a.GetRead().LastKnown = &recordv1.LastKnown{} }},
	{"T reads 1 again", ReasonLastKnown, "read.last_known", func(a *action) { a.GetRead().LastKnown = nil }},
	{"T reads 1 again", ReasonLastKnown, "read.last_known", func(a *action) { a.GetRead().LastKnown.ImageSha256 = sha("x") }},
	{"T reads 1 again", ReasonLastKnown, "read.last_known", func(a *action) { a.GetRead().LastKnown.Submission = 1 }},
	{"T reads 1 again", ReasonBadValue, "read.last_known.report_sha256", func(a *action) { a.GetRead().LastKnown.ReportSha256 = sha("r") }},
	{"T reads 1 again differs", ReasonBadValue, "read.last_known.report_sha256", func(a *action) { a.GetRead().LastKnown.ReportSha256 = "r" }},
	// Submissions and their judgement.
	{"C submits 7 first", ReasonNoOriginal, "submission.job", nil},
	{"C submits 1 next", ReasonBadValue, "submission.image", func(a *action) { a.GetSubmission().Image = nil }},
	{"C submits 1 next", ReasonNotOriginal, "submission.base_sha256", func(a *action) { a.GetSubmission().BaseSha256 = sha("first") }},
	{"C submits 1 next", ReasonNotOriginal, "submission.image.size", func(a *action) { a.GetSubmission().Image.Size = 17 }},
	{"C submits 1 next", ReasonNotOriginal, "submission.image.ranges", func(a *action) { ranges(a.GetSubmission().Image, 0, 8) }},
	{"C submits 1 next", ReasonNotOriginal, "submission.image.ranges", func(a *action) { ranges(a.GetSubmission().Image, 0, 8, 9, 16) }},
	{"C submits 1 next", ReasonOlderRevision, "submission.judgement.definition.sha256", func(a *action) {
		ranges(a.GetSubmission().Image, 0, 4, 4, 16) // touching ranges are one: not at fault
		a.GetSubmission().Judgement.Definition.Sha256 = sha("D0")
	}},
	{"C submits 1 next", ReasonBadValue, "submission.judgement", func(a *action) { a.GetSubmission().Judgement = nil }},
	{"C submits 1 next", ReasonBadValue, "submission.judgement.definition.name", func(a *action) { a.GetSubmission().Judgement.Definition.Name = "e" }},
	{"C submits 1 next", ReasonOlderRevision, "submission.judgement.limits.sha256", func(a *action) { a.GetSubmission().Judgement.Limits.Sha256 = "" }},
	{"C submits 1 next", ReasonBadValue, "submission.judgement.report_sha256", func(a *action) { a.GetSubmission().Judgement.ReportSha256 = strings.ToUpper(sha("report")) }},
	{"C submits 1 next", ReasonBadValue, "submission.judgement.verdict", func(a *action) { a.GetSubmission().Judgement.Verdict = "fine" }},
	{"C submits 1 next", ReasonBadValue, "submission.judgement.warnings", func(a *action) { a.GetSubmission().Judgement.Verdict = "warning" }},
	{"C submits 1 next", ReasonBadValue, "submission.judgement.warnings", func(a *action) { a.GetSubmission().Judgement.Warnings = []string{"a"} }},
	{"C submits 1 next warn=b,a", ReasonBadValue, "submission.judgement.warnings", nil},
	{"C submits 1 next", ReasonBadValue, "submission.note", func(a *action) { a.GetSubmission().Note = "ok\n\u202eko" }},
	{"C submits 1 next", ReasonBadValue, "submission.note", func(a *action) { a.GetSubmission().Note = "bell \a" }},
	{"C submits 1 next", ReasonBadValue, "submission.meant", func(a *action) { a.GetSubmission().Meant = []string{"ignition.base"} }},
	{"C submits 1 next", ReasonBadValue, "submission.meant", func(a *action) { a.GetSubmission().MeantGiven, a.GetSubmission().Meant = true, []string{""} }},
	// Sign-offs, returns, withdrawals.
	{"L signs 5.1", ReasonNotFound, "sign_off.submission", func(a *action) { a.GetSignOff().Submission = 9 }},
	{"L signs 5.1", ReasonNotFound, "sign_off.submission", func(a *action) { a.GetSignOff().Submission = 0 }},
	{"L signs 5.1", ReasonOtherImage, "sign_off.image_sha256", func(a *action) { a.GetSignOff().ImageSha256 = sha("second") }},
	{"L signs 5.1", ReasonNotOriginal, "sign_off.base_sha256", func(a *action) { a.GetSignOff().BaseSha256 = sha("original") }},
	{"L signs 5.1", ReasonBadValue, "sign_off.judgement", func(a *action) { a.GetSignOff().Judgement = nil }},
	{"L signs 5.1", ReasonBecause, "a", func(a *action) { a.GetSignOff().Because = nil }},
	{"L signs 5.1", ReasonBecause, "a", func(a *action) { a.GetSignOff().Because["a"] = " \n" }},
	{"L signs 5.1", ReasonBecause, "b", func(a *action) { a.GetSignOff().Because["b"] = "no such warning" }},
	{"L signs 5.1", ReasonBadValue, "sign_off.because", func(a *action) { a.GetSignOff().Because["a"] = strings.Repeat("b", 4001) }},
	{"L signs 5.1", ReasonBadValue, "sign_off.reason", func(a *action) { a.GetSignOff().Reason = "\x1b[2J" }},
	{"L signs 5.1 author reason=mine", ReasonNotAuthor, "sign_off.by_author", nil},
	{"L signs 6.1", ReasonDanger, "sign_off.judgement.verdict", nil},
	{"L signs 2.1", ReasonState, "sign_off.submission", nil},
	{"L signs 5.1 warn=b", ReasonDiffers, "sign_off.judgement", nil},
	{"D returns 5.1", ReasonOtherImage, "return.image_sha256", func(a *action) { a.GetReturn().ImageSha256 = sha("second") }},
	{"D returns 5.1", ReasonBadValue, "return.reason", func(a *action) { a.GetReturn().Reason = " " }},
	{"D returns 5.1", ReasonNotFound, "return.job", func(a *action) { a.GetReturn().Job = 70 }},
	{"C withdraws 1.2", ReasonNotAuthor, "C", nil},
	{"X withdraws 1.2", ReasonNotFound, "withdraw.submission", func(a *action) { a.GetWithdraw().Submission = 3 }},
	// Collections and read-backs.
	{"T collects 5.1", ReasonState, "collect.submission", nil},
	{"T collects 2.1", ReasonBadValue, "collect.car_checked_by", func(a *action) { a.GetCollect().CarCheckedBy = "looks" }},
	{"T collects 2.1", ReasonOtherImage, "collect.image_sha256", func(a *action) { a.GetCollect().ImageSha256 = sha("two") }},
	{"T collects 2.1", ReasonBadValue, "collect.judgement", func(a *action) { a.GetCollect().Judgement = nil }},
	{"T collects 2.1 verdict=notice", ReasonNewSignOff, "verdict", nil},
	{"T collects 2.1", ReasonNotFound, "collect.submission", func(a *action) { a.GetCollect().Submission = 2 }},
	{"T collects 2.0", ReasonOtherImage, "collect.image_sha256", func(a *action) { a.GetCollect().ImageSha256 = sha("first") }},
	{"T collects 2.0", ReasonBadValue, "collect.judgement", func(a *action) { a.GetCollect().Judgement = &recordv1.Judgement{} }},
	{"T collects 7.0", ReasonNoOriginal, "collect.job", nil},
	{"T reads-back 2.1 first", ReasonNotCollected, "read_back.job", nil},
	{"T reads-back 1.0 first", ReasonNotCollected, "read_back.submission", nil},
	{"T reads-back 1.1 first", ReasonBadValue, "read_back", func(a *action) { a.GetReadBack().Image = nil }},
	{"T reads-back 1.1 first", ReasonBadValue, "read_back", func(a *action) { a.GetReadBack().NotPossible = "locked" }},
	{"T reads-back 1.1 first", ReasonBadValue, "read_back.image.size", func(a *action) { a.GetReadBack().Image.Size = 0 }},
	{"T reads-back 1.1 first", ReasonBadValue, "read_back.report_sha256", func(a *action) { a.GetReadBack().ReportSha256 = "-" }},
	{"T cannot-read 1.1", ReasonBadValue, "read_back", func(a *action) { a.GetReadBack().Matches = true }},
	{"T cannot-read 1.1", ReasonBadValue, "read_back.not_possible", func(a *action) { a.GetReadBack().NotPossible = "\u2028" }},
	// Runs.
	{"T runs 1 before", ReasonNotFound, "run.job", func(a *action) { a.GetRun().Job = 8 }},
	{"T runs 1 before", ReasonBadValue, "run.when", func(a *action) { a.GetRun().When = "during" }},
	{"T runs 1 before", ReasonBadValue, "run.file_sha256", func(a *action) { a.GetRun().FileSha256 = "" }},
	{"T runs 1 before", ReasonBadValue, "run.channels_sha256", func(a *action) { a.GetRun().ChannelsSha256 = "" }},
}

func TestFaults(t *testing.T) {
	h := newHistory(t, false).script(ready + `
		D signs 2.1
		T opens NEW-7`)
	before := dump(h.s)
	for _, f := range faults {
		line := f.line
		if _, err := h.s.Open(envelopeIn(t, h.entry(line, f.tweak))); err != nil {
			t.Errorf("%s: does not even open: %v", line, err)
			continue
		}
		if r := h.do(line, f.reason, f.tweak); r.At != f.at {
			t.Errorf("%s: at %q (%v), want %q", line, r.At, r, f.at)
		}
	}
	if after := dump(h.s); after != before {
		t.Errorf("deciding changed the state:\n%s\nwant\n%s", after, before)
	}
	replays(t, h)
}

func envelopeIn(t *testing.T, entry []byte) []byte {
	t.Helper()
	envelope, _, err := EnvelopeOf(entry)
	if err != nil {
		t.Fatal(err)
	}
	return envelope
}

// TestEveryReasonIsTried: no reason for a refusal is without a test, and none is spelled by hand
// in one place alone.
func TestEveryReasonIsTried(t *testing.T) {
	tried := map[string]bool{
		// By TestJudgeEntries, TestRelease, TestDuplicateRequest and TestDecideWithoutGenesis.
		ReasonNoGenesis: true, ReasonBadEntry: true, ReasonBadEnvelope: true, ReasonBadSignature: true,
		ReasonDuplicateRequest: true, ReasonNoRelease: true,
		// By TestHistories.
		ReasonUnknownKey: true, ReasonReplacedKey: true, ReasonRetired: true, ReasonRole: true, ReasonRequestUsed: true,
		ReasonNameUsed: true, ReasonKeyUsed: true, ReasonLastLead: true, ReasonAuthor: true,
	}
	for _, f := range faults {
		tried[f.reason] = true
	}
	file, err := parser.ParseFile(token.NewFileSet(), "refusal.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	ast.Inspect(file, func(n ast.Node) bool {
		spec, ok := n.(*ast.ValueSpec)
		if !ok || !strings.HasPrefix(spec.Names[0].Name, "Reason") {
			return true
		}
		reason, err := strconv.Unquote(spec.Values[0].(*ast.BasicLit).Value)
		if err != nil {
			t.Fatal(err)
		}
		found++
		if !tried[reason] {
			t.Errorf("no test is refused for %s", reason)
		}
		return true
	})
	if found < 30 {
		t.Errorf("found %d reasons in refusal.go", found)
	}
}

func TestRelease(t *testing.T) {
	h := newHistory(t, false).script(ready)
	for job, want := range map[uint32]string{0: ReasonNotFound, 2: ReasonNoRelease, 7: ReasonNotFound} {
		_, err := h.s.Release(job)
		if r := refusalOf(t, err); r.Reason != want {
			t.Errorf("job %d: %v, want %s", job, r, want)
		}
	}
	h.script("T opens N-7").script("D signs 2.1").script("L retires D compromised")
	for job, want := range map[uint32]string{7: "nothing was submitted", 2: "voided"} {
		_, err := h.s.Release(job)
		if r := refusalOf(t, err); r.Reason != ReasonNoRelease || !strings.Contains(r.Text, want) {
			t.Errorf("job %d: %v, want it to say %q", job, r, want)
		}
	}
}

// manyNumbers are n numbers that are right one by one.
func manyNumbers(n int) map[string]string {
	out := map[string]string{}
	for i := range n {
		out[fmt.Sprintf("n%d", i)] = "0.7"
	}
	return out
}

func TestNumbersThatAreTaken(t *testing.T) {
	if err := CheckNumbers(manyNumbers(64)); err != nil {
		t.Error(err)
	}
	if err := CheckNumbers(map[string]string{"a": "-40", "b": "0", "c": "1000000000000", "d_2": "0.0001"}); err != nil {
		t.Error(err)
	}
}
