package main

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"os"
	"time"

	"witnessmark/client"
)

// still is how long nobody wrote a file that counts as saved; it is looked at so often.
var still = 300 * time.Millisecond

// coarse is how many times as long a save may have the time of the one before it: some disks note two seconds at once.
const coarse = 10

const lookEvery = 50 * time.Millisecond

// save is a file as it was left, or why it cannot be read.
type save struct {
	file []byte
	err  error
}

// watchSaves tells of a file as it is, and as it is after each time that somebody wrote it or put another in its
// place, until the context ends.
func watchSaves(ctx context.Context, path string, tell func(save)) {
	var told, seen state
	var last []byte
	var again time.Time // when it is read once more, though nothing tells that it was written; zero for never
	for since := time.Now(); ctx.Err() == nil; rest(ctx, lookEvery) {
		now := stateOf(path)
		if !now.is(seen) {
			seen, since = now, time.Now()
		}
		same := seen.is(told)
		if time.Since(since) < still || same && (again.IsZero() || time.Now().Before(again)) {
			continue
		}
		s := save{err: now.err}
		if s.err == nil {
			s.file, s.err = client.ReadBounded(path, client.MaxFile)
		}
		told, again = now, time.Time{}
		if !same {
			again = since.Add(coarse * still)
		}
		if stateOf(path).is(now) && !(same && bytes.Equal(s.file, last)) { // else it was written meanwhile, and is looked at again
			last = s.file
			tell(s)
		}
	}
}

// state is what tells that a file was written.
type state struct {
	info fs.FileInfo
	err  error
}

func stateOf(path string) state {
	info, err := os.Stat(path)
	return state{info, err}
}

func (s state) is(other state) bool {
	if s.info == nil || other.info == nil {
		return s.info == other.info && (s.err == nil) == (other.err == nil) && errors.Is(s.err, fs.ErrNotExist) == errors.Is(other.err, fs.ErrNotExist)
	}
	return os.SameFile(s.info, other.info) && s.info.Size() == other.info.Size() && s.info.ModTime().Equal(other.info.ModTime())
}

func rest(ctx context.Context, how time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(how):
	}
}
