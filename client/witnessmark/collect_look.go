package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"google.golang.org/protobuf/proto"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// lookAnew looks at the job as it is now.
func (f *bayFollower) lookAnew(ctx context.Context) (done bool, err error) {
	if f.bay, err = f.client.Bay(f.ask.Job); err != nil {
		return false, err
	}
	return f.look(ctx)
}

// look does what the state of the job asks for; done says that there is nothing more to follow.
func (f *bayFollower) look(ctx context.Context) (done bool, err error) {
	b := f.bay
	f.shout()
	if !f.began {
		if err := f.resume(ctx); err != nil {
			return false, f.later(err)
		}
		f.began = true
	}
	if open := b.Corridor.GetNumber(); open != 0 {
		f.corridor = open
	}
	switch {
	case b.Job.GetState() == "closed":
		f.tell("job %d is closed", b.Job.GetNumber())
		return true, nil
	case f.corridor != 0 && b.Corridor == nil:
		f.tell("corridor %d is closed", f.corridor)
		return true, nil
	case b.Release == nil:
		f.offered = nil
		f.tell("%v", b.None)
	case f.lost != b.Release.GetNumber() && b.First(f.notReadBack) != "":
		f.offered = nil
		f.tell("%s", b.First(f.notReadBack))
	case f.lost != b.Release.GetNumber() && b.LastOf.GetNumber() == b.Release.GetNumber():
		f.offered = nil
		f.tell("%s is the newest release, and collected; %s", client.Name(b.Release), f.elsewhere()+next(b.Corridor))
	case f.skipped == b.Release.GetNumber(), f.offered != nil && proto.Equal(f.offered.Submission, b.Release):
	default:
		return false, f.offer(ctx)
	}
	return false, nil
}

// elsewhere says that the release's file is not where this bay writes: another one collected it, or somebody took it away.
func (f *bayFollower) elsewhere() string {
	path := f.path(f.bay.Release)
	if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
		return ""
	}
	return path + " is not there; "
}

// next is where the next release comes from.
func next(c *recordv1.Corridor) string {
	if c == nil {
		return "the next is waited for"
	}
	return fmt.Sprintf("corridor %d is %s", c.GetNumber(), client.CorridorState(c))
}

// resume says what became of the file that was collected last: a crash may have come between the ledger and the disk.
func (f *bayFollower) resume(ctx context.Context) error {
	b := f.bay
	if b.LastOf == nil || !b.Owed || !record.IsRelease(b.LastOf) {
		return nil
	}
	r, err := f.client.Review(ctx, f.ask.Job, b.LastOf.GetNumber())
	if err != nil {
		return err
	}
	path := f.path(b.LastOf)
	same, err := f.sameFile(path, r)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		f.lost = b.LastOf.GetNumber()
		f.say(fmt.Sprintf("%s was collected, and %s is not there", client.Name(b.LastOf), path))
	case err != nil:
		return err
	case same:
		f.say(fmt.Sprintf("%s is on the disk already: %s", client.Name(b.LastOf), path))
	default:
		f.say(fmt.Sprintf("%s holds something else than %s", path, client.Name(b.LastOf)))
	}
	f.written = r
	return nil
}

// press does what a key asks for.
func (f *bayFollower) press(ctx context.Context, key rune) (done bool, err error) {
	switch {
	case key == 'q' || key == keyInterrupt:
		return true, nil
	case key == keyEnter && f.offered != nil:
		return false, f.write(ctx)
	case key == keyEnter && f.skipped != 0:
		f.skipped = 0
		return f.look(ctx)
	case key == 's' && f.offered != nil:
		f.skipped, f.offered = f.offered.Submission.GetNumber(), nil
		fmt.Fprintf(f.errOut, "%d.%d is skipped; Enter offers it again\n", f.ask.Job, f.skipped)
	case key == 't' && f.offered != nil:
		return false, f.whole(ctx)
	default:
		f.prompt()
	}
	return false, nil
}

func (f *bayFollower) prompt() {
	f.warn()
	if f.offered == nil {
		fmt.Fprintln(f.errOut, "nothing is offered now; keys: q ends")
		return
	}
	fmt.Fprintf(f.errOut, "keys: Enter writes %s, s skips it, t shows its tables whole, q ends\n", f.path(f.offered.Submission))
}
