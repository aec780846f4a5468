package client

import (
	"errors"
	"io"
	"io/fs"
	"os"

	"witnessmark/store"
	"witnessmark/tables/image"
)

// Out is a file that a person asked for. It is there whole or not at all, takes the place of another
// only with Replace, and never of one that was given.
type Out struct {
	Path    string
	Replace bool
	Given   []string // what was read to make it; an empty name is none
	Private bool     // only its owner may read it
}

// Free says whether the file may be written, before anything is done.
func (o Out) Free() error {
	there, err := os.Lstat(o.Path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	target, err := os.Stat(o.Path)
	for _, name := range o.Given {
		if given, statErr := os.Stat(name); err == nil && statErr == nil && os.SameFile(given, target) {
			return usage("another name", "%s is a file that you gave, and is never written over", o.Path)
		}
	}
	switch {
	case !there.Mode().IsRegular() && there.Mode().Type() != fs.ModeSymlink:
		return usage("another name", "%s is there already, and is no file", o.Path)
	case !o.Replace:
		return o.taken()
	}
	return nil
}

func (o Out) taken() error { return usage("--replace", "%s is there already", o.Path) }

// Format is the kind of file that was asked for, else the one that the ending says.
func (o Out) Format(asked image.Format) (image.Format, error) {
	if asked == "" {
		asked = image.FormatByEnding(o.Path)
	}
	if asked == "" {
		return "", usage("--file-format bin, hex or s19", "%s: its ending does not say what kind of file it is to be", o.Path)
	}
	return asked, nil
}

// beside is a file that goes with this one.
func (o Out) beside(ending string) Out {
	o.Path += ending
	return o
}

// Write writes the file.
func (o Out) Write(b []byte) error {
	s, err := o.stage(b)
	if err != nil {
		return err
	}
	return o.commit(s)
}

// staged is a file that is on the disk under another name, and unfinished until it is committed or dropped.
type staged struct {
	store.Staged
	finished func()
}

// Drop removes what did not get its name; nothing where it did.
func (s staged) Drop() {
	s.Staged.Drop()
	s.finished()
}

func (o Out) stage(b []byte) (staged, error) {
	return o.stageFrom(func(w io.Writer) error { _, err := w.Write(b); return err })
}

// stageFrom has the file on the disk under another name: what fills the disk fails here.
func (o Out) stageFrom(write func(io.Writer) error) (staged, error) {
	if err := o.Free(); err != nil {
		return staged{}, err
	}
	mode := fs.FileMode(0o644)
	if o.Private {
		mode = 0o600
	}
	store.Sweep(o.Path)
	finished := Unfinished()
	s, err := store.Stage(o.Path, mode, write)
	if err != nil {
		finished()
	}
	return staged{s, finished}, err
}

// commit gives the file its name, which somebody else may have taken meanwhile.
func (o Out) commit(s staged) error {
	defer s.finished()
	if o.Replace {
		return s.Commit()
	}
	err := s.CommitNew()
	if errors.Is(err, fs.ErrExist) {
		return o.taken()
	}
	return err
}
