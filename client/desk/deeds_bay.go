package desk

import (
	"fmt"
	"slices"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// What happens to the car in the bay.

var readDeed = deed{path: "read", label: "Add a read", kind: "read",
	says: func(j *recordv1.Job) string {
		if record.AsFound(j) != nil {
			return "It is compared with what the ledger says was last in this car."
		}
		return "The first read is the car as found. It is kept, and all that follows is compared with it."
	},
	fields: func(*filling) []field {
		return []field{{Kind: "file", Name: "file", Label: "Image read out of the car", Must: true, Holds: "image"}, formatField("found by its content"),
			{Kind: "tick", Name: "holes", Label: "Take it although it lacks bytes that the definition names", Hint: "They stay unknown: no submission can write them."}}
	},
	do: func(f *filling) (string, string, error) {
		read, report, err := f.desk.client.AddRead(f.Context(), client.NewRead{Job: f.job.GetNumber(), Path: f.files["file"], Format: f.format(), WithHoles: f.value("holes") != ""})
		if err != nil {
			return "", "", err
		}
		note := fmt.Sprintf("You added read %d.", read.GetNumber())
		if report != nil {
			note += " It is the car as found; judged by itself: " + report.GetVerdict() + "."
		}
		return note, "", nil
	}}

var voidDeed = deed{path: "void", label: "Void a read", kind: "void", more: true,
	not: func(j *recordv1.Job) string {
		switch {
		case record.AsFound(j) == nil:
			return noRead
		case len(voidable(j)) == 0:
			return "A submission stands on the only read that there is, or it was collected."
		}
		return ""
	},
	says: func(*recordv1.Job) string {
		return "For a read of the wrong car, or a broken file. It stays in the ledger, and counts for nothing."
	},
	fields: func(f *filling) []field {
		pick := field{Kind: "pick", Name: "read", Label: "Read"}
		for _, r := range voidable(f.job) {
			pick.Options = append(pick.Options, [2]string{fmt.Sprint(r.GetNumber()), fmt.Sprintf("read %d by %s, %s", r.GetNumber(), r.GetAdded().GetPerson(), when(r.GetAdded().GetSignedAt()))})
		}
		return []field{pick, because("Why it is void")}
	},
	do: func(f *filling) (string, string, error) {
		_, err := f.desk.client.VoidRead(f.Context(), f.job.GetNumber(), f.number("read"), f.value("because"))
		return fmt.Sprintf("You voided read %d.", f.number("read")), "", err
	}}

// voidable are the reads that nothing stands on.
func voidable(j *recordv1.Job) (out []*recordv1.Read) {
	stood := len(j.GetSubmissions()) > 0 || slices.ContainsFunc(j.GetCollections(), func(c *recordv1.Collection) bool { return c.GetSubmission() == 0 })
	for _, r := range j.GetReads() {
		if r.GetVoided() == nil && (!stood || r != record.AsFound(j)) {
			out = append(out, r)
		}
	}
	return out
}

const noRead = "The job has no read yet."

var collectDeed = deed{path: "collect", label: "Collect a release", kind: "collect",
	not: func(j *recordv1.Job) string {
		if len(releases(j)) == 0 {
			return "Nothing is released: a submission has to be signed off first."
		}
		return ""
	},
	says: func(*recordv1.Job) string {
		return "The file is checked before you get it: its bytes, who signed, and that it belongs to the car in the bay. For the last, give a fresh read of the car, or type its frame number."
	},
	fields: func(f *filling) []field {
		return []field{subsField("Release", f.job, "", record.IsRelease),
			{Kind: "file", Name: "fresh", Label: "A fresh read of the car in the bay", Holds: "image"},
			{Kind: "line", Name: "frame", Label: "or its frame number", Hint: "One of the two is needed where the image holds a field that belongs to one car."},
			formatField("as the read came in")}
	},
	do: collected}

var asFoundDeed = deed{path: "asfound", label: "Collect the read as found", kind: "collect",
	not: func(j *recordv1.Job) string {
		if record.AsFound(j) == nil {
			return noRead
		}
		return ""
	},
	says:   func(*recordv1.Job) string { return "The image as this car came with it, to put it back." },
	fields: func(*filling) []field { return []field{formatField("as the read came in")} },
	do:     collectedAsFound}

var readbackDeed = deed{path: "readback", label: "Add a read-back", kind: "read_back", closed: true,
	not: func(j *recordv1.Job) string {
		if len(j.GetCollections()) == 0 {
			return "Nothing was collected, so nothing was written that could be read back."
		}
		return ""
	},
	says: func(*recordv1.Job) string {
		return "The image read again after writing. It must equal what was collected, apart from what the controller rewrites by itself."
	},
	fields: func(*filling) []field {
		return []field{{Kind: "file", Name: "file", Label: "Image read back", Holds: "image"}, formatField("found by its content"),
			{Kind: "line", Name: "not-possible", Label: "or: why this controller cannot be read back"}}
	},
	check: func(f *filling) error {
		file, why := f.files["file"] != "", f.value("not-possible") != ""
		switch {
		case !file && !why:
			return &client.Error{Kind: client.Usage, Text: "choose the file that was read back, or say why this controller cannot be read back"}
		case file && why:
			return &client.Error{Kind: client.Usage, Text: "a file was chosen, and a reason why there can be none; leave one of them out"}
		}
		return nil
	},
	do: func(f *filling) (string, string, error) {
		if why := f.value("not-possible"); why != "" {
			_, err := f.desk.client.NotPossible(f.Context(), f.job.GetNumber(), why)
			return "Entered: written, not read back.", "", err
		}
		found, err := f.desk.client.Readback(f.Context(), f.job.GetNumber(), f.files["file"], f.format())
		switch {
		case err != nil:
			return "", "", err
		case found.Readback.GetMatches():
			return "The read-back matches what was written.", "", nil
		}
		return "The read-back differs from what was written: " + found.Why + ". Do not drive the car before this is explained.", "", nil
	}}

var runDeed = deed{path: "run", label: "Add a run", kind: "run",
	says: func(*recordv1.Job) string {
		return "A file with a header row; each header is a quantity and its unit, such as engine_speed [1/min] or torque [N.m]. A channel file says what other headers are. " +
			"The run is of the map in the car: what was collected last, else what was read."
	},
	fields: func(*filling) []field {
		return []field{{Kind: "file", Name: "file", Label: "Run as CSV", Must: true, Holds: "text"},
			{Kind: "pick", Name: "when", Label: "When it was driven", Must: true, Options: [][2]string{{"", "before or after the work?"}, {"before", "before the work"}, {"after", "after the work"}}},
			{Kind: "file", Name: "channels", Label: "Channel file, where the headers are others", Holds: "text"}}
	},
	check: func(f *filling) error {
		_, err := client.ReadRun(f.files["file"], f.files["channels"])
		return err
	},
	do: func(f *filling) (string, string, error) {
		added, err := f.desk.client.AddRun(f.Context(), f.job.GetNumber(), f.files["file"], f.files["channels"], f.value("when"))
		return fmt.Sprintf("You added %s.", client.RunName(added)), fmt.Sprintf("/job/%d/runs", f.job.GetNumber()), err
	}}
