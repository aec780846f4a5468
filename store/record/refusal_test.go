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

func sealedAs(label string) *recordv1.Sealed { return &recordv1.Sealed{Commitment: sha(label)} }

func long(n int) string { return strings.Repeat("x", n) }

// faults are single wrong things in actions that are right but for them, on the state `ready` with
// another submission signed (2.1) and nothing of it collected, a job without a read (7), a closed one
// (8) and an erased one (9).
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
	{"T opens A", ReasonBadValue, "request_id", func(a *action) { a.RequestId = long(201) }},
	{"T opens A", ReasonRequestUsed, "request_id", func(a *action) { a.RequestId = "first" }},
	{"T opens A", ReasonSeen, "seen.size", func(a *action) { a.Seen = nil }},
	{"T opens A", ReasonSeen, "seen.root", func(a *action) { a.Seen.Root = strings.ToUpper(a.Seen.Root) }},
	{"T opens A", ReasonActsOn, "acts_on", func(a *action) { a.ActsOn = "" }},
	// People and keys.
	{"L enrols N technician", ReasonBadValue, "enrol.name", func(a *action) { a.GetEnrol().Name = "" }},
	{"L enrols N technician", ReasonBadValue, "enrol.name", func(a *action) { a.GetEnrol().Name = " N" }},
	{"L enrols N technician", ReasonBadValue, "enrol.name", func(a *action) { a.GetEnrol().Name = "C\u200b" }},
	{"L enrols N technician", ReasonBadValue, "enrol.name", func(a *action) { a.GetEnrol().Name = strings.Repeat("é", 65) }},
	{"L enrols N technician", ReasonBadValue, "enrol.name", func(a *action) { a.GetEnrol().Name = long(5000) }},
	{"L enrols N technician", ReasonBadValue, "enrol.roles", func(a *action) { a.GetEnrol().Roles = nil }},
	{"L enrols N technician", ReasonBadValue, "enrol.roles", func(a *action) { a.GetEnrol().Roles = []string{"boss"} }},
	{"L enrols N technician", ReasonBadValue, "enrol.roles", func(a *action) { a.GetEnrol().Roles = []string{"lead", "lead"} }},
	{"L enrols N technician", ReasonBadValue, "enrol.public_key", func(a *action) { a.GetEnrol().PublicKey = "ssh-rsa AAAA" }},
	{"L enrols N technician", ReasonBadValue, "enrol.public_key", func(a *action) { a.GetEnrol().PublicKey += " me@bay" }},
	{"L retires D", ReasonNotFound, "retire.name", func(a *action) { a.GetRetire().Name = "d" }},
	{"L retires D", ReasonNotFound, "retire.name", func(a *action) { a.GetRetire().Name = long(5000) }},
	// The catalogue.
	{"L defines d D2", ReasonBadValue, "definition.name", func(a *action) { a.GetDefinition().GetRevision().Name = "D" }},
	{"L defines d D2", ReasonBadValue, "definition.name", func(a *action) { a.GetDefinition().Revision = nil }},
	{"L defines d D2", ReasonBadValue, "definition.sha256", func(a *action) { a.GetDefinition().GetRevision().Sha256 = "00" }},
	{"L limits l L1", ReasonNoChange, "limits.sha256", nil},
	{"L limits m L1", ReasonNameUsed, "limits.name", nil},
	{"L limits l L2 worse=1.9", ReasonNotFound, "limits.judged_worse.submission", nil},
	{"L limits l L2 worse=99.1", ReasonNotFound, "limits.judged_worse.job", nil},
	{"L limits l L2 worse=2.1,1.1", ReasonBadValue, "limits.judged_worse", nil},
	{"L limits l L2 worse=1.1,1.1", ReasonBadValue, "limits.judged_worse", nil},
	{"L limits l L2 worse=1.2,1.1", ReasonBadValue, "limits.judged_worse", nil},
	{"L limits l L2 worse=1.1", ReasonBadValue, "limits.judged_worse.verdict", func(a *action) { a.GetLimits().JudgedWorse[0].Verdict = "bad" }},
	{"L defines d D2 worse=1.1", ReasonBadValue, "definition.judged_worse.warnings", func(a *action) { a.GetDefinition().JudgedWorse[0].Verdict = "warning" }},
	// Jobs.
	{"T opens A", ReasonBadValue, "job.details.plate", func(a *action) { a.GetJob().GetDetails().Plate = nil }},
	{"T opens A", ReasonBadValue, "job.details.plate", func(a *action) { a.GetJob().Details = nil }},
	{"T opens A", ReasonNotFound, "job.details.car", func(a *action) { a.GetJob().GetDetails().Car = 100 }},
	{"T opens A", ReasonBadValue, "job.details.car_said", func(a *action) { a.GetJob().GetDetails().CarSaid = "perhaps" }},
	{"T opens A", ReasonNotFound, "job.definition.name", func(a *action) { a.GetJob().Definition.Name = "other" }},
	{"T opens A", ReasonNotFound, "job.definition.name", func(a *action) { a.GetJob().Definition.Name = long(5000) }},
	{"T opens A", ReasonOlderRevision, "job.definition.sha256", func(a *action) { a.GetJob().Definition.Sha256 = sha("D0") }},
	{"T opens A", ReasonNotFound, "job.details.limits.name", func(a *action) { a.GetJob().GetDetails().Limits = nil }},
	{"T opens A", ReasonOlderRevision, "job.details.limits.sha256", func(a *action) { a.GetJob().GetDetails().Limits.Sha256 = sha("L0") }},
	{"T opens A", ReasonBadValue, "job.details.fuel", func(a *action) { a.GetJob().GetDetails().Fuel = "98\tRON" }},
	{"T opens A", ReasonBadValue, "job.details.parts", func(a *action) { a.GetJob().GetDetails().Parts = []string{""} }},
	{"T opens A", ReasonBadValue, "job.details.parts", func(a *action) { a.GetJob().GetDetails().Parts = []string{" x"} }},
	{"T opens A", ReasonBadValue, "job.details.parts", func(a *action) { a.GetJob().GetDetails().Parts = []string{"a\nb"} }},
	{"T opens A", ReasonBadValue, "job.details.parts", func(a *action) { a.GetJob().GetDetails().Parts = []string{"a\u202eb"} }},
	{"T opens A", ReasonBadValue, "job.details.parts", func(a *action) { a.GetJob().GetDetails().Parts = make([]string, 101) }},
	{"T opens A", ReasonBadValue, "job.details.numbers", func(a *action) { a.GetJob().GetDetails().Numbers = map[string]string{"Rotor": "1"} }},
	{"T opens A", ReasonBadValue, "job.details.numbers", func(a *action) { a.GetJob().GetDetails().Numbers = manyNumbers(65) }},
	{"T opens A", ReasonBadValue, "job.details.limits_fuel", func(a *action) { a.GetJob().GetDetails().LimitsFuel = []string{"98-RON", ""} }},
	{"T opens A", ReasonFuel, "job.details.fuel", func(a *action) { a.GetJob().GetDetails().LimitsFuel = []string{"E85"} }},
	{"T opens A", ReasonSealedUsed, "job.details.note", func(a *action) { a.GetJob().GetDetails().Note = sealedAs("used") }},
	{"T amends 1 A", ReasonSealedUsed, "amend.details.plate", func(a *action) { a.GetAmend().GetDetails().Plate = sealedAs("used") }},
	{"T amends 99 A", ReasonNotFound, "amend.job", nil},
	{"T amends 1 A", ReasonBadValue, "amend.details.plate", func(a *action) { a.GetAmend().Details = nil }},
	{"T amends 9 A", ReasonErased, "amend.job", nil},
	{"T closes 8 done", ReasonClosed, "close.job", nil},
	{"T closes 1 gone", ReasonBadValue, "close.outcome", nil},
	{"T closes 1 done", ReasonBadValue, "close.because", func(a *action) { a.GetClose().Because = "\u2028" }},
	{"T reopens 1", ReasonNoChange, "reopen.job", nil},
	{"T reopens 8", ReasonBadValue, "reopen.because", func(a *action) { a.GetReopen().Because = "" }},
	{"T reopens 9", ReasonErased, "reopen.job", nil},
	{"L erases 1", ReasonState, "erase.job", nil},
	{"L erases 9", ReasonNoChange, "erase.job", nil},
	{"L erases 8", ReasonBadValue, "erase.because", func(a *action) { a.GetErase().Because = "" }},
	// Reads.
	{"T reads 1 again", ReasonNotFound, "read.job", func(a *action) { a.GetRead().Job = 99 }},
	{"T reads 1 again", ReasonNotFound, "read.job", func(a *action) { a.GetRead().Job = 0 }},
	{"T reads 1 again", ReasonBadValue, "read.image", func(a *action) { a.GetRead().Image = nil }},
	{"T reads 1 again", ReasonBadValue, "read.image", func(a *action) { a.GetRead().Image.Sha256 = sha("x")[1:] }},
	{"T reads 1 again", ReasonBadValue, "read.image", func(a *action) { ranges(a.GetRead().Image, 4, 8, 0, 2) }},
	{"T reads 1 again", ReasonHoles, "read.holes", func(a *action) { a.GetRead().Holes = []*calibrationv1.AddressRange{{Start: 1, End: 2}} }},
	{"T reads 1 again", ReasonBadValue, "read.holes", func(a *action) { a.GetRead().Holes = []*calibrationv1.AddressRange{{Start: 2, End: 2}} }},
	{"T reads 1 again", ReasonOtherCar, "read.car", func(a *action) { a.GetRead().Car = 2 }},
	{"T reads 7 first", ReasonOtherCar, "read.car", func(a *action) { a.GetRead().Car = 0 }},
	{"T reads 7 first", ReasonOtherCar, "read.car", func(a *action) { a.GetRead().Car = 99 }},
	{"T reads 1 again", ReasonBadValue, "read.check", func(a *action) { a.GetRead().Check = nil }},
	{"T reads 1 again", ReasonNotAsFound, "read.check.base_sha256", func(a *action) { a.GetRead().Check.BaseSha256 = sha("found") }},
	{"T reads 7 first", ReasonLastKnown, "read.last_known", func(a *action) { a.GetRead().LastKnown = &recordv1.LastKnown{} }},
	{"T reads 1 again", ReasonLastKnown, "read.last_known", func(a *action) { a.GetRead().LastKnown = nil }},
	{"T reads 1 again", ReasonLastKnown, "read.last_known", func(a *action) { a.GetRead().LastKnown.ImageSha256 = sha("x") }},
	{"T reads 1 again", ReasonLastKnown, "read.last_known", func(a *action) { a.GetRead().LastKnown.Submission = 1 }},
	{"T reads 1 again", ReasonBadValue, "read.last_known.report_sha256", func(a *action) { a.GetRead().LastKnown.ReportSha256 = sha("r") }},
	{"T reads 1 again differs", ReasonBadValue, "read.last_known.report_sha256", func(a *action) { a.GetRead().LastKnown.ReportSha256 = "r" }},
	{"T voids 2 1", ReasonState, "void.read", nil},
	{"T voids 2 2", ReasonNotFound, "void.read", nil},
	{"T voids 10 1", ReasonBadValue, "void.because", func(a *action) { a.GetVoid().Because = "" }},
	// Submissions and their judgement.
	{"C submits 7 first", ReasonNoRead, "submission.job", nil},
	{"C submits 8 first", ReasonClosed, "submission.job", nil},
	{"C submits 1 found", ReasonNoChange, "submission.image", nil},
	{"C submits 1 next from=9", ReasonNotFound, "submission.from", nil},
	{"C submits 1 next", ReasonBadValue, "submission.image", func(a *action) { a.GetSubmission().Image = nil }},
	{"C submits 1 next", ReasonNotAsFound, "submission.judgement.base_sha256", func(a *action) { a.GetSubmission().Judgement.BaseSha256 = sha("first") }},
	{"C submits 1 next", ReasonNotAsFound, "submission.image.size", func(a *action) { a.GetSubmission().Image.Size = 17 }},
	{"C submits 1 next", ReasonNotAsFound, "submission.image.ranges", func(a *action) { ranges(a.GetSubmission().Image, 0, 8) }},
	{"C submits 1 next", ReasonBadValue, "submission.judgement", func(a *action) { a.GetSubmission().Judgement = nil }},
	{"C submits 1 next", ReasonBadValue, "submission.judgement.definition.name", func(a *action) { a.GetSubmission().Judgement.Definition.Name = "e" }},
	{"C submits 1 next", ReasonOlderRevision, "submission.judgement.definition.sha256", func(a *action) { a.GetSubmission().Judgement.Definition.Sha256 = sha("D0") }},
	{"C submits 1 next", ReasonOlderRevision, "submission.judgement.limits.sha256", func(a *action) { a.GetSubmission().Judgement.Limits.Sha256 = "" }},
	{"C submits 1 next", ReasonOtherInputs, "submission.judgement", func(a *action) { a.GetSubmission().Judgement.Fuel = "E85" }},
	{"C submits 1 next", ReasonOtherInputs, "submission.judgement", func(a *action) { a.GetSubmission().Judgement.Numbers = nil }},
	{"C submits 1 next", ReasonBadValue, "submission.judgement.as_found_sha256", func(a *action) { a.GetSubmission().Judgement.AsFoundSha256 = "x" }},
	{"C submits 1 next", ReasonNotFound, "submission.judgement.run_sha256", func(a *action) { a.GetSubmission().Judgement.RunSha256 = []string{sha("run")} }},
	{"C submits 1 next", ReasonBadValue, "submission.judgement.report_sha256", func(a *action) { a.GetSubmission().Judgement.ReportSha256 = strings.ToUpper(sha("report")) }},
	{"C submits 1 next", ReasonBadValue, "submission.judgement.verdict", func(a *action) { a.GetSubmission().Judgement.Verdict = "fine" }},
	{"C submits 1 next", ReasonBadValue, "submission.judgement.warnings", func(a *action) { a.GetSubmission().Judgement.Verdict = "warning" }},
	{"C submits 1 next", ReasonBadValue, "submission.judgement.warnings", func(a *action) { a.GetSubmission().Judgement.Warnings = []string{"a"} }},
	{"C submits 1 next warn=b,a", ReasonBadValue, "submission.judgement.warnings", nil},
	{"C submits 1 next", ReasonBadValue, "submission.judgement.warnings", func(a *action) {
		a.GetSubmission().Judgement.Verdict, a.GetSubmission().Judgement.Warnings = "danger", make([]string, maxKeys+1)
	}},
	{"C submits 1 next verdict=danger", ReasonBadValue, "submission.judgement.warnings", func(a *action) { a.GetSubmission().Judgement.Warnings = []string{""} }},
	{"C submits 1 next", ReasonBadValue, "submission.meant", func(a *action) { a.GetSubmission().Meant = []string{"ignition.base"} }},
	{"C submits 1 next", ReasonBadValue, "submission.meant", func(a *action) { a.GetSubmission().MeantGiven, a.GetSubmission().Meant = true, []string{""} }},
	{"C submits 1 next", ReasonBadValue, "submission.meant", func(a *action) {
		a.GetSubmission().MeantGiven, a.GetSubmission().Meant = true, make([]string, maxKeys+1)
	}},
	// Corridors.
	{"L opens-corridor 7 C", ReasonNoRead, "corridor.job", func(a *action) { a.GetCorridor().Job = 7 }},
	{"L opens-corridor 8 C", ReasonClosed, "corridor.job", nil},
	{"L opens-corridor 11 C", ReasonState, "corridor.job", nil},
	{"L opens-corridor 10 C", ReasonNotFound, "corridor.job", func(a *action) { a.GetCorridor().Job = 99 }},
	{"L opens-corridor 10 C", ReasonOtherImage, "corridor.from_sha256", func(a *action) { a.GetCorridor().FromSha256 = sha("x") }},
	{"L opens-corridor 10 C", ReasonNotFound, "corridor.from", func(a *action) { a.GetCorridor().From = 1 }},
	{"L opens-corridor 5 C from=1", ReasonState, "corridor.from", nil},
	{"L opens-corridor 2 C from=1", ReasonOtherImage, "corridor.from_sha256", func(a *action) { a.GetCorridor().FromSha256 = sha("two") }},
	{"L opens-corridor 10 C def=D0", ReasonOlderRevision, "corridor.definition.sha256", nil},
	{"L opens-corridor 10 C lim=L0", ReasonOlderRevision, "corridor.limits.sha256", nil},
	{"L opens-corridor 10 C by=m", ReasonBadValue, "corridor.limits.name", nil},
	{"L opens-corridor 10 C", ReasonOtherInputs, "corridor", func(a *action) { a.GetCorridor().Fuel = "E85" }},
	{"L opens-corridor 10 C", ReasonOtherInputs, "corridor", func(a *action) { a.GetCorridor().Numbers = nil }},
	{"L opens-corridor 10 C", ReasonBadValue, "corridor.authors", func(a *action) { a.GetCorridor().Authors = nil }},
	{"L opens-corridor 10 C", ReasonBadValue, "corridor.authors", func(a *action) { a.GetCorridor().Authors = make([]string, 101) }},
	{"L opens-corridor 10 D,C", ReasonBadValue, "corridor.authors", nil},
	{"L opens-corridor 10 C,C", ReasonBadValue, "corridor.authors", nil},
	{"L opens-corridor 10 nobody", ReasonNotFound, "corridor.authors", nil},
	{"L opens-corridor 10 c", ReasonNotFound, "corridor.authors", nil},
	{"L opens-corridor 10 T", ReasonRole, "T", nil},
	{"L opens-corridor 10 Gone", ReasonRetired, "corridor.authors", nil},
	{"L opens-corridor 10 C,L", ReasonAuthor, "corridor.authors", nil},
	{"L opens-corridor 10 C,L author reason=alone", ReasonAuthor, "corridor.authors", nil},
	{"L opens-corridor 10 C author", ReasonNotAuthor, "corridor.by_author", nil},
	{"L opens-corridor 10 C", ReasonBadValue, "corridor.reason", func(a *action) { a.GetCorridor().Reason = " \n" }},
	{"L opens-corridor 10 C", ReasonBadValue, "corridor.reason", func(a *action) { a.GetCorridor().Reason = long(4001) }},
	{"L opens-corridor 10 C", ReasonBadValue, "corridor.tables", func(a *action) { a.GetCorridor().Tables = nil }},
	{"L opens-corridor 10 C", ReasonBadValue, "corridor.tables", func(a *action) { a.GetCorridor().Tables = make([]*recordv1.CorridorTable, maxCorridor+1) }},
	{"L opens-corridor 10 C tables=a:1:1,a:2:2", ReasonBadValue, "corridor.tables", nil},
	{"L opens-corridor 10 C tables=a:0:0", ReasonBadValue, "corridor.tables", nil},
	{"L opens-corridor 10 C tables=a:-1:1", ReasonBadValue, "corridor.tables", nil},
	{"L opens-corridor 10 C tables=a:1:-0", ReasonBadValue, "corridor.tables", nil},
	{"L opens-corridor 10 C tables=a:1.0:1", ReasonBadValue, "corridor.tables", nil},
	{"L opens-corridor 10 C tables=a:1:", ReasonBadValue, "corridor.tables", nil},
	{"L opens-corridor 10 C tables=a:1:NaN", ReasonBadValue, "corridor.tables", nil},
	{"L opens-corridor 10 C tables=a:1:1e3", ReasonBadValue, "corridor.tables", nil},
	{"L opens-corridor 10 C tables=:1:1", ReasonBadValue, "corridor.tables.table", nil},
	{"L opens-corridor 10 C", ReasonBadValue, "corridor.tables.unit", func(a *action) { a.GetCorridor().Tables[0].Unit = "\x1b" }},
	{"L opens-corridor 10 C maps=0", ReasonBadValue, "corridor.maps", nil},
	{"L opens-corridor 10 C maps=1001", ReasonBadValue, "corridor.maps", nil},
	{"L opens-corridor 10 C most=clear", ReasonBadValue, "corridor.most", nil},
	{"L opens-corridor 10 C most=warning", ReasonBadValue, "corridor.most", nil},
	{"T closes-corridor 11 1", ReasonNotFound, "corridor_close.corridor", func(a *action) { a.GetCorridorClose().Corridor = 0 }},
	{"T closes-corridor 11 1", ReasonNotFound, "corridor_close.job", func(a *action) { a.GetCorridorClose().Job = 99 }},
	{"T closes-corridor 11 1", ReasonNotFound, "corridor_close.keep", func(a *action) { a.GetCorridorClose().Keep = 9 }},
	{"T closes-corridor 11 1", ReasonCorridor, "corridor_close.keep", func(a *action) { a.GetCorridorClose().Keep = 2 }},
	{"T closes-corridor 11 1", ReasonBadValue, "corridor_close.because", func(a *action) { a.GetCorridorClose().Because = "\u2028" }},
	{"C submits 1 next corridor=1", ReasonCorridor, "submission.corridor", nil},
	{"C submits 1 next", ReasonCorridor, "submission.corridor", func(a *action) { a.GetSubmission().Corridor = &recordv1.InCorridor{} }},
	{"C submits 11 next", ReasonCorridor, "submission.corridor", func(a *action) { a.GetSubmission().Corridor = nil }},
	{"C submits 11 next", ReasonCorridor, "submission.corridor", func(a *action) { a.GetSubmission().Corridor.Corridor = 0 }},
	{"C submits 11 next corridor=2", ReasonCorridor, "submission.corridor", nil},
	{"C submits 11 next out=cell:a,cell:a,cell:a,cell:a,cell:a,cell:a,cell:a,cell:a,cell:a", ReasonBadValue, "submission.corridor.outside", nil},
	{"C submits 11 next out=cell:a", ReasonBadValue, "submission.corridor.outside", func(a *action) { a.GetSubmission().Corridor.More = 1 }},
	{"C submits 11 next out=colour:a", ReasonBadValue, "submission.corridor.outside.what", nil},
	{"C submits 11 next out=cell:", ReasonBadValue, "submission.corridor.outside.table", nil},
	{"C submits 11 next out=cell:a", ReasonBadValue, "submission.corridor.outside.at", func(a *action) { a.GetSubmission().Corridor.Outside[0].At = make([]uint32, 4) }},
	{"T runs 1 after of=1.2", ReasonNotFound, "run.of", nil},
	{"T runs 1 after of=2.1", ReasonBadValue, "run.of", nil},
	{"T runs 1 after of=1.read1x", ReasonBadValue, "run.of", nil},
	// Sign-offs, returns, withdrawals.
	{"L signs 5.1", ReasonNotFound, "sign_off.submission", func(a *action) { a.GetSignOff().Submission = 9 }},
	{"L signs 5.1", ReasonNotFound, "sign_off.submission", func(a *action) { a.GetSignOff().Submission = 0 }},
	{"L signs 5.1", ReasonOtherImage, "sign_off.image_sha256", func(a *action) { a.GetSignOff().ImageSha256 = sha("second") }},
	{"L signs 5.1", ReasonNotAsFound, "sign_off.judgement.base_sha256", func(a *action) { a.GetSignOff().Judgement.BaseSha256 = sha("found") }},
	{"L signs 5.1", ReasonBadValue, "sign_off.judgement", func(a *action) { a.GetSignOff().Judgement = nil }},
	{"L signs 5.1", ReasonBecause, "a", func(a *action) { a.GetSignOff().Because = nil }},
	{"L signs 5.1", ReasonBecause, "a", func(a *action) { a.GetSignOff().Because["a"] = " \n" }},
	{"L signs 5.1", ReasonBecause, "b", func(a *action) { a.GetSignOff().Because["b"] = "no such warning" }},
	{"L signs 5.1", ReasonBadValue, "sign_off.because", func(a *action) { a.GetSignOff().Because["a"] = long(4001) }},
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
	{"T collects 7.0", ReasonNoRead, "collect.job", nil},
	{"T reads-back 2.1 first", ReasonNotCollected, "read_back.job", nil},
	{"T reads-back 1.0 first", ReasonNotCollected, "read_back.submission", nil},
	{"T reads-back 1.1 first", ReasonBadValue, "read_back", func(a *action) { a.GetReadBack().Image = nil }},
	{"T reads-back 1.1 first", ReasonBadValue, "read_back", func(a *action) { a.GetReadBack().NotPossible = "locked" }},
	{"T reads-back 1.1 first", ReasonBadValue, "read_back.image", func(a *action) { a.GetReadBack().Image.Size = 0 }},
	{"T reads-back 1.1 first", ReasonBadValue, "read_back.report_sha256", func(a *action) { a.GetReadBack().ReportSha256 = sha("r") }},
	{"T reads-back 1.1 x differs", ReasonBadValue, "read_back.report_sha256", func(a *action) { a.GetReadBack().ReportSha256 = "" }},
	{"T cannot-read 1.1", ReasonBadValue, "read_back", func(a *action) { a.GetReadBack().Matches = true }},
	{"T cannot-read 1.1", ReasonBadValue, "read_back.not_possible", func(a *action) { a.GetReadBack().NotPossible = "\u2028" }},
	// Runs, notes, alarms.
	{"T runs 1 before", ReasonNotFound, "run.job", func(a *action) { a.GetRun().Job = 80 }},
	{"T runs 1 during", ReasonBadValue, "run.when", nil},
	{"T runs 1 before", ReasonBadValue, "run.file_sha256", func(a *action) { a.GetRun().FileSha256 = "" }},
	{"T runs 1 before", ReasonBadValue, "run.channels_sha256", func(a *action) { a.GetRun().ChannelsSha256 = "" }},
	{"T runs 1 before", ReasonBadValue, "run.check_sha256", func(a *action) { a.GetRun().CheckSha256 = "x" }},
	{"T runs 1 before danger", ReasonBadValue, "run.danger", func(a *action) { a.GetRun().CheckSha256 = "" }},
	{"C notes 1.9 x", ReasonNotFound, "note.submission", nil},
	{"C notes 1 x", ReasonBadValue, "note.text", func(a *action) { a.GetNote().Text = nil }},
	{"C notes 1 x", ReasonBadValue, "note.table", func(a *action) { a.GetNote().Table = "a\nb" }},
	{"C notes 1 x file=a", ReasonBadValue, "note.files.sha256", func(a *action) { a.GetNote().GetFiles()[0].Sha256 = "" }},
	{"C notes 1 x file=a", ReasonBadValue, "note.files.name", func(a *action) { a.GetNote().GetFiles()[0].Name = nil }},
	{"C notes 1 x", ReasonBadValue, "note.files", func(a *action) { a.GetNote().Files = make([]*recordv1.NoteFile, maxNoteFiles+1) }},
	{"C notes 9 x", ReasonErased, "note.job", nil},
	{"L settles 1 recalled 1.1", ReasonNotFound, "settle.alarm", nil},
	{"L settles 1 recalled 1.1", ReasonNotFound, "settle.alarm", func(a *action) { a.GetSettle().About = long(5000) }},
	{"L settles 99 recalled 1.1", ReasonNotFound, "settle.job", nil},
	{"L settles 1 not-read-back 1.1", ReasonBadValue, "settle.alarm", nil},
	{"L settles 1 run-danger 1.run1", ReasonBadValue, "settle.because", func(a *action) { a.GetSettle().Because = "" }},
}

const readyForFaults = ready + `
	D signs 2.1
	T opens NEW-7 id=first
	T opens NEW-8
	T closes 8 done
	T opens NEW-9
	T closes 9 done
	L erases 9
	T opens NEW-10
	T reads 10 ten
	T runs 1 after danger
	L enrols Gone calibrator
	L retires Gone
	T opens NEW-11
	T reads 11 eleven
	L opens-corridor 11 C
	C submits 11 inside
	D submits 11 beside`

func faulty(t tb) *history {
	h := newHistory(t, false).script(readyForFaults)
	told := h.tell("C notes 2 text", func(a *action) { a.GetNote().Text = sealedAs("used") })
	if err := h.admit(&recordv1.Told{Entry: told.GetEntry()}); err != nil {
		t.Fatalf("a text that is kept back: %v", err)
	}
	return h
}

func TestFaults(t *testing.T) {
	h := faulty(t)
	before := documents(t, h.engine)
	for _, f := range faults {
		if r := h.do(f.line, f.reason, f.tweak); r.At != f.at {
			t.Errorf("%s: at %q (%v), want %q", f.line, r.At, r, f.at)
		}
	}
	if d := differ(documents(t, h.engine), before); d != "" {
		t.Errorf("deciding changed the documents:\n%s", d)
	}
}

// TestEveryReasonIsTried: no reason for a refusal is without a test that was refused for it.
func TestEveryReasonIsTried(t *testing.T) {
	tried := map[string]bool{
		// By TestJudgeEntries, TestOpenings, TestRelease, TestDuplicateRequest and TestDecideWithoutGenesis.
		ReasonNoGenesis: true, ReasonBadEntry: true, ReasonBadEnvelope: true, ReasonBadSignature: true,
		ReasonDuplicateRequest: true, ReasonNoRelease: true, ReasonOpening: true,
		// By TestHistories.
		ReasonUnknownKey: true, ReasonReplacedKey: true, ReasonRetired: true, ReasonRole: true,
		ReasonKeyUsed: true, ReasonLastLead: true, ReasonAuthor: true, ReasonCarried: true,
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
	release := func(job uint32) *Refusal {
		return refusalOf(t, look(h, func(s *State) error { _, err := s.Release(job); return err }))
	}
	for job, want := range map[uint32]string{0: ReasonNotFound, 2: ReasonNoRelease, 7: ReasonNotFound} {
		if r := release(job); r.Reason != want {
			t.Errorf("job %d: %v, want %s", job, r, want)
		}
	}
	h.script("T opens N-7\nD signs 2.1\nL retires D compromised\nL signs 1.2")
	for job, want := range map[uint32]string{7: "nothing was submitted", 2: "voided", 3: "3.1 is waiting", 1: "say which: 1.1, 1.2"} {
		if r := release(job); r.Reason != ReasonNoRelease || !strings.Contains(r.Text, want) {
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

func TestNumbers(t *testing.T) {
	if err := CheckNumbers(manyNumbers(64)); err != nil {
		t.Error(err)
	}
	if err := CheckNumbers(map[string]string{"a": "-40", "b": "0", "c": "1000000000000", "d_2": "0.0001"}); err != nil {
		t.Error(err)
	}
	for _, name := range []string{"", "9a", "a-b", "A", strings.Repeat("a", 65)} {
		if r := refusalOf(t, CheckNumbers(map[string]string{name: "1"})); r.At != "job.numbers" {
			t.Errorf("%q: %v", name, r)
		}
	}
	for _, text := range []string{"", "x", "NaN", "+Inf", "-0", "1.0", "01", "+1", "1e3", " 1", "0x10", "1_0", "1000000000001", "0." + strings.Repeat("0", 40) + "1"} {
		if r := refusalOf(t, CheckNumbers(map[string]string{"a": text})); r.At != "job.numbers.a" {
			t.Errorf("%q: %v", text, r)
		}
	}
}
