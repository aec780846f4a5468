package desk

import (
	"cmp"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"witnessmark/client"
	"witnessmark/client/desk/view"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/claims"
	"witnessmark/store/record"
)

// What is said of a job, and of what was submitted to it.

var openDeed = deed{label: "Open a job", kind: "job",
	fields: func(f *filling) []field {
		return append([]field{{Kind: "pick", Name: "definition", Label: "Definition of the controller", Options: f.desk.names(client.Definitions), Must: true, None: "A lead adds one under Definitions."}},
			f.details(client.Details{})...)
	},
	do: func(f *filling) (string, string, error) {
		j, err := f.desk.client.OpenJob(f.Context(), client.NewJob{Details: f.said(), Definition: f.value("definition")})
		return fmt.Sprintf("You opened job %d.", j.GetNumber()), fmt.Sprintf("/job/%d", j.GetNumber()), err
	}}

var amendDeed = deed{path: "amend", label: "Correct the job's details", kind: "amend", more: true,
	says:   func(*recordv1.Job) string { return "Who corrected what stays in the ledger." },
	fields: func(f *filling) []field { return f.details(client.DetailsOf(f.job)) },
	do: func(f *filling) (string, string, error) {
		said := f.said()
		said.Frame = cmp.Or(said.Frame, client.DetailsOf(f.job).Frame)
		_, err := f.desk.client.AmendJob(f.Context(), f.job.GetNumber(), said)
		return "You corrected the job's details.", "", err
	}}

// details are what a job is opened with, and may be corrected. Which car it is, is asked only where
// plate and frame number do not settle it.
func (f *filling) details(now client.Details) []field {
	out := []field{
		{Kind: "line", Name: "plate", Label: "Car: its plate", Value: now.Plate, Must: true},
		{Kind: "line", Name: "frame", Label: "Frame number", Hint: "May be left out; a read tells it where the controller holds one."},
		{Kind: "pick", Name: "limits", Label: "Limits", Options: f.desk.names(client.Limits), Value: now.Limits, Must: true, None: "A lead adds them under Limits."},
		{Kind: "line", Name: "fuel", Label: "Fuel, as the limits call it", Value: now.Fuel},
		{Kind: "text", Name: "parts", Label: "Parts fitted, one a line", Value: strings.Join(now.Parts, "\n")},
		{Kind: "text", Name: "numbers", Label: "Numbers of the car and its parts, one a line", Value: strings.Join(now.Numbers, "\n"), Hint: "As NAME=VALUE, such as crank_pulley_mm=180. Limits may use them."},
		{Kind: "text", Name: "note", Label: "Note", Value: now.Note, Hint: "Plate, frame number and note can be erased later; fuel, parts and numbers stay."},
	}
	if reasonIs(f.problem, claims.ReasonCarSaid) || f.value("car") != "" {
		out = append(out, field{Kind: "pick", Name: "car", Label: "Which car is it?",
			Options: [][2]string{{"", "say which"}, {client.SameCar, "the same car as in the ledger"}, {client.AnotherCar, "another car"}}})
	}
	return out
}

// said is the details that were filled in.
func (f *filling) said() client.Details {
	return client.Details{Plate: f.value("plate"), Frame: f.value("frame"), Limits: f.value("limits"), Fuel: f.value("fuel"), Note: f.value("note"),
		Car: f.value("car"), Parts: lines(f.value("parts")), Numbers: lines(f.value("numbers"))}
}

// lines splits what was typed into a box, one item a line.
func lines(s string) (out []string) {
	for l := range strings.Lines(s) {
		if l = strings.TrimSpace(l); l != "" {
			out = append(out, l)
		}
	}
	return out
}

// names are what the catalogue has of a kind.
func (d *Desk) names(kind string) (out [][2]string) {
	all, err := d.client.CatalogNames(kind)
	if err != nil {
		d.log.Error("the catalogue cannot be read", "error", err)
	}
	for _, name := range all {
		out = append(out, [2]string{name, name})
	}
	return out
}

// tables are those of the job's definition, each with its title and the name where it came from.
func (f *filling) tables() (out [][2]string) {
	lay, err := f.desk.client.JobLayout(f.Context(), f.job)
	if err != nil {
		f.desk.log.Error("the definition cannot be read", "job", f.job.GetNumber(), "error", err)
		return nil
	}
	for _, t := range lay.Tables {
		out = append(out, [2]string{t.ID, view.Called(t)})
	}
	return out
}

var submitDeed = deed{path: "submit", label: "Submit a modified image", kind: "submission",
	not: func(j *recordv1.Job) string {
		if record.AsFound(j) == nil {
			return "The job has no read yet, so there is nothing to compare with."
		}
		return ""
	},
	says: func(*recordv1.Job) string {
		return "It is compared with the read as found here, before it is sent. A submission of yours in this job that still waits is replaced."
	},
	fields: func(f *filling) []field {
		return []field{{Kind: "file", Name: "file", Label: "Modified image", Must: true, Holds: "image"}, formatField("found by its content"),
			subsField("What you started from", f.job, "the read as found", func(*recordv1.Submission) bool { return true }),
			{Kind: "text", Name: "note", Label: "Note: what you did, and why"},
			{Kind: "ticks", Name: "meant", Label: "Tables you meant to change", Options: f.tables(), Hint: "With none ticked, you say nothing about it."}}
	},
	do: func(f *filling) (string, string, error) {
		meant := f.Form["meant"]
		s, report, err := f.desk.client.Submit(f.Context(), client.NewSubmission{Job: f.job.GetNumber(), Path: f.files["file"], Format: f.format(),
			From: f.number("submission"), Note: f.value("note"), Meant: meant, MeantGiven: len(meant) > 0})
		if err != nil {
			return "", "", err
		}
		return fmt.Sprintf("You submitted %s. The verdict is %s.", client.Name(s), report.GetVerdict()), "/sheet/" + client.Name(s), nil
	}}

var noteDeed = deed{path: "note", label: "Add a note", kind: "note", more: true, closed: true,
	fields: func(f *filling) []field {
		return []field{subsField("About", f.job, "the job", func(*recordv1.Submission) bool { return true }),
			{Kind: "pick", Name: "table", Label: "One of its tables", Options: append([][2]string{{"", "none"}}, f.tables()...)}, {Kind: "text", Name: "text", Label: "Note", Must: true},
			{Kind: "file", Name: "file", Label: "A file that goes with it"}}
	},
	do: func(f *filling) (string, string, error) {
		about := record.Name{Job: f.job.GetNumber()}
		if n := f.number("submission"); n != 0 {
			about.Part, about.N = record.ASubmission, n
		}
		n := client.NewNote{About: about, Table: f.value("table"), Text: f.value("text")}
		if path := f.files["file"]; path != "" {
			n.Files = []string{path}
		}
		_, err := f.desk.client.AddNote(f.Context(), n)
		to := hrefOf(about)
		if n.Table != "" && about.Part == record.ASubmission {
			to += "/table/" + url.PathEscape(n.Table)
		}
		return "You added a note.", to, err
	}}

// settleable are a job's alarms that a lead's word ends.
func settleable(j *recordv1.Job) []*recordv1.Alarm {
	return slices.DeleteFunc(record.Due(j.GetAlarms(), time.Now()), func(a *recordv1.Alarm) bool { return !record.Settleable(a.GetAlarm()) })
}

var settleDeed = deed{path: "settle", label: "Settle an alarm", kind: "settle", more: true, closed: true,
	not: func(j *recordv1.Job) string {
		if len(settleable(j)) == 0 {
			return "There is no alarm that a lead's word ends."
		}
		return ""
	},
	says: func(j *recordv1.Job) string {
		var says []string
		for _, a := range settleable(j) {
			says = append(says, a.GetAbout()+": "+a.GetSays()+".")
		}
		return strings.Join(says, " ")
	},
	fields: func(f *filling) []field {
		pick := field{Kind: "pick", Name: "alarm", Label: "Alarm"}
		for _, a := range settleable(f.job) {
			pick.Options = append(pick.Options, [2]string{a.GetAbout() + " " + a.GetAlarm(), a.GetAbout() + ": " + a.GetAlarm()})
		}
		return []field{pick, because("What was done about it")}
	},
	do: func(f *filling) (string, string, error) {
		about, alarm, _ := strings.Cut(f.value("alarm"), " ")
		name, err := record.ParseName(about)
		if err == nil {
			_, err = f.desk.client.Settle(f.Context(), name, alarm, f.value("because"))
		}
		return "You settled the alarm of " + about + ".", "", err
	}}

var closeDeed = deed{path: "close", label: "Close the job", kind: "close", more: true,
	says: func(*recordv1.Job) string {
		return "It leaves the tray; its alarms do not. Details and images can then be erased."
	},
	fields: func(*filling) []field {
		why := because("Anything to say about it")
		why.Must = false
		return []field{{Kind: "pick", Name: "outcome", Label: "What became of it", Options: [][2]string{{"done", "the work was done"}, {"cancelled", "it was cancelled"}}}, why}
	},
	do: func(f *filling) (string, string, error) {
		_, err := f.desk.client.CloseJob(f.Context(), f.job.GetNumber(), f.value("outcome"), f.value("because"))
		return "You closed the job.", "", err
	}}

var reopenDeed = deed{path: "reopen", label: "Reopen the job", kind: "reopen", more: true, closed: true,
	not: func(j *recordv1.Job) string {
		if j.GetState() != "closed" {
			return "The job is open."
		}
		return ""
	},
	fields: func(*filling) []field { return []field{because("Why it is reopened")} },
	do: func(f *filling) (string, string, error) {
		_, err := f.desk.client.ReopenJob(f.Context(), f.job.GetNumber(), f.value("because"))
		return "You reopened the job.", "", err
	}}

var eraseDeed = deed{path: "erase", label: "Erase what identifies the car", kind: "erase", more: true, closed: true,
	not: func(j *recordv1.Job) string {
		switch {
		case j.GetState() != "closed":
			return "The job is open; close it first."
		case j.GetImagesErased():
			return "The job was erased."
		}
		return ""
	},
	says: func(*recordv1.Job) string {
		return "Plate, frame number, notes with their files, and names of files are deleted from the server and from everybody's copy, for good. " +
			"What this cannot reach: backups made before, standby servers, and files and proofs that people took. The hashes of images stay, and who has the rest " +
			"of an image could try frame numbers against one. Names of people and the reasons that they gave stay: they were signed."
	},
	fields: func(*filling) []field {
		return []field{{Kind: "tick", Name: "images", Label: "Its images and runs too", Hint: "Nothing of this job can be collected or compared again."}, because("Why it is erased")}
	},
	do: func(f *filling) (string, string, error) {
		_, err := f.desk.client.Erase(f.Context(), f.job.GetNumber(), f.value("images") != "", f.value("because"))
		return "You erased what identified the car.", "", err
	}}
