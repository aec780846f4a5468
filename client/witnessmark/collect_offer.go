package main

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"witnessmark/client"
	"witnessmark/client/sheet"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/image"
)

// sameFile says whether a file holds a release.
func (f *bayFollower) sameFile(path string, r *client.Review) (bool, error) {
	have, err := client.ReadBounded(path, client.MaxFile)
	if err != nil {
		return false, err
	}
	want, err := r.File(f.ask.Format)
	return bytes.Equal(have, want), err
}

// offer reviews the release and has the person, or --yes, say whether it is written.
func (f *bayFollower) offer(ctx context.Context) error {
	r, err := f.client.Review(ctx, f.ask.Job, f.bay.Release.GetNumber())
	if err != nil {
		return f.later(err)
	}
	return f.show(ctx, r)
}

// later says once why something cannot be looked at now: the server is away, or the rules say no. Anything else ends
// the command.
func (f *bayFollower) later(err error) error {
	if kind := client.KindOf(err); kind != client.Away && kind != client.Refused {
		return err
	}
	f.tell("%v", err)
	return nil
}

// show says what a release is, rings, and waits for a key; with --yes it is written at once.
func (f *bayFollower) show(ctx context.Context, r *client.Review) error {
	f.offered, f.status = r, ""
	if f.yes {
		return f.write(ctx)
	}
	name, lines := f.heading(ctx, r)
	fmt.Fprintln(f.out)
	if err := sheet.WriteTitle(f.out, name); err != nil {
		return err
	}
	for _, line := range lines {
		fmt.Fprintln(f.out, line)
	}
	if err := writeFindings(f.out, r.Report); err != nil {
		return err
	}
	if err := f.writeChanges(ctx, r); err != nil {
		return f.failed(err)
	}
	fmt.Fprintln(f.out, "before it is loaded: strapped, fans and extraction on, nobody in line with the wheels; the bay sheet says the rest")
	f.bell()
	f.keyboard.dropped()
	f.prompt()
	return nil
}

// heading is who a release is by, what they say, and what the last run showed.
func (f *bayFollower) heading(ctx context.Context, r *client.Review) (name string, lines []string) {
	s := r.Submission
	name = fmt.Sprintf("%s by %s, verdict %s", client.Name(s), client.OneLine(s.GetSubmitted().GetPerson()), r.Judgement.GetVerdict())
	if y := client.YesTo(r.Job, s); y != nil {
		lines = append(lines, y.Says())
	}
	lines = append(lines, "note: "+cmp.Or(client.OneLine(sheet.Sealed(s.GetNote())), "-"))
	lines = append(lines, alarmLines(r.Job, record.Name{Job: s.GetJob(), Part: record.ASubmission, N: s.GetNumber()})...)
	if runs := r.Job.GetRuns(); len(runs) > 0 {
		last := runs[len(runs)-1]
		lines = append(lines, fmt.Sprintf("%s: %s", client.RunName(last), showed(ctx, f.client, r.Job, last)))
	}
	return name, lines
}

// writeChanges writes in short how what is offered differs from what was collected last, and from where its corridor starts.
func (f *bayFollower) writeChanges(ctx context.Context, r *client.Review) error {
	last, err := f.since(ctx, r)
	if err == nil {
		err = last.brief(f.out)
	}
	if err != nil {
		return err
	}
	start, err := f.sinceStart(ctx, r)
	if err != nil || start.title == last.title {
		return err
	}
	return start.brief(f.out)
}

// write collects what is offered. It is offered until it is written, skipped, or no release any more.
func (f *bayFollower) write(ctx context.Context) error {
	r, q := f.offered, f.ask
	q.Submission, q.Out = r.Submission.GetNumber(), f.path(r.Submission)
	var err error
	if q.Replace, err = f.leftover(q.Out, r); err != nil {
		return f.failed(err)
	}
	f.lost = q.Submission // the ledger may have it, where the answer is lost
	got, err := f.client.Collect(ctx, q)
	if err != nil {
		if err := f.failed(err); err != nil || f.offered != nil || f.yes {
			return err
		}
		_, err = f.lookAnew(ctx)
		return err
	}
	f.lost, f.offered, f.written, f.status = 0, nil, r, ""
	if f.json() {
		writeLine(f.out, map[string]string{"collected": client.Name(got.Submission), "file": q.Out, "sha256": got.FileSHA256})
	} else if err := writeCollected(f.out, got, q.Out); err != nil {
		return err
	}
	_, err = f.lookAnew(ctx)
	return err
}

// leftover says whether what is there under a release's names is that release: it was collected before, or half of it was.
func (f *bayFollower) leftover(path string, r *client.Review) (bool, error) {
	same, err := f.sameFile(path, r)
	if errors.Is(err, fs.ErrNotExist) {
		return f.client.CrashLeft(path, r), nil
	}
	if err == nil && !same {
		err = usage("%s is there already and is not %s; nothing takes its place", path, client.Name(r.Submission))
	}
	return same, err
}

// failed says why something could not be done, where it may be done later: the server is away, the release is none
// any more or judged otherwise, the disk is full. Anything else ends the command.
func (f *bayFollower) failed(err error) error {
	kind := client.KindOf(err)
	if errors.Is(err, context.Canceled) || kind == client.Distrust || f.yes && kind != client.Away && kind != client.Refused {
		return err
	}
	f.complain(err)
	if f.yes || kind == client.Refused {
		f.offered = nil // it is looked at again
	} else if f.offered != nil {
		f.prompt()
	}
	return nil
}

// path is where a release is written.
func (f *bayFollower) path(sub *recordv1.Submission) string {
	info, err := os.Stat(f.to)
	if err == nil && info.IsDir() || strings.HasSuffix(f.to, string(filepath.Separator)) {
		return filepath.Join(f.to, client.Name(sub)+"."+image.EndingOf(f.ask.Format))
	}
	ending := filepath.Ext(f.to)
	return strings.TrimSuffix(f.to, ending) + "-" + client.Name(sub) + ending
}

// since compares with what was collected last, or where nothing was with the read as found.
func (f *bayFollower) since(ctx context.Context, r *client.Review) (difference, error) {
	last := f.bay.LastOf
	if last == nil || last.GetNumber() == r.Submission.GetNumber() {
		return compared(nil, r, "")
	}
	if f.written == nil || f.written.Submission.GetNumber() != last.GetNumber() {
		var err error
		if f.written, err = f.client.Review(ctx, f.ask.Job, last.GetNumber()); err != nil {
			return difference{}, err
		}
	}
	return compared(f.written, r, "collected last")
}

// sinceStart compares with where the release's corridor starts, else with the read as found.
func (f *bayFollower) sinceStart(ctx context.Context, r *client.Review) (difference, error) {
	start, err := f.client.StartOf(ctx, record.CorridorOf(r.Job, r.Submission.GetByCorridor()))
	if err != nil {
		return difference{}, err
	}
	return compared(start, r, "where the corridor starts")
}

// whole shows the tables that differ from what was collected last.
func (f *bayFollower) whole(ctx context.Context) error {
	d, err := f.since(ctx, f.offered)
	if err != nil {
		return f.failed(err)
	}
	d.sheet.Width = f.width()
	if err := sheet.WriteDiffering(f.out, d.report, "was", "is", d.sheet); err != nil {
		return err
	}
	f.prompt()
	return nil
}
