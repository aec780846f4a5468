package server

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// taken is the line by which whoever asked for a copy says that they have it, whole and under its name; the server
// answers with an empty one once that is noted.
const taken = "taken"

// backupSocket is where whoever may read a running server's folder asks for a copy of its store: one line
// says how many bytes follow, or why there are none.
const backupSocket = "backup.sock"

// backUp is how a running server hands out copies; one at a time, since each is a copy of the whole store.
type backUp struct {
	core   *core
	spool  *spool
	bounds *bounds
	turn   chan struct{}
	socket net.Listener // nil where nobody may ask
}

// listen makes the socket, which lies in a folder that is its owner's alone.
func (b *backUp) listen(dir string) error {
	path := filepath.Join(dir, backupSocket)
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("backups: %w", err)
	}
	l, err := net.Listen("unix", path)
	if err != nil {
		return fmt.Errorf("backups: %w", err)
	}
	b.socket = l
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return // closed
			}
			go b.answer(c)
		}
	}()
	return nil
}

func (b *backUp) answer(c net.Conn) {
	defer c.Close()
	_ = c.SetDeadline(time.Now().Add(time.Hour))
	f, size, err := b.copy(nil)
	if err != nil {
		b.core.log.Error("backup", loggable(err))
		fmt.Fprintf(c, "%s\n", oneLine(err))
		return
	}
	defer f.Close()
	_ = c.SetDeadline(time.Now().Add(b.bounds.patience(size)))
	if _, err = fmt.Fprintf(c, "%d\n", size); err == nil {
		_, err = io.Copy(c, f)
	}
	var said string
	if err == nil {
		said, err = bufio.NewReader(io.LimitReader(c, int64(len(taken)+1))).ReadString('\n')
	}
	whole := err == nil && strings.TrimSpace(said) == taken
	b.core.log.Info("backup", "bytes", size, "whole", whole)
	if whole {
		b.finished()
		fmt.Fprintln(c)
	}
}

// finished notes that somebody has a whole copy.
func (b *backUp) finished() {
	if err := b.core.home.backedUp(b.core.now()); err != nil {
		b.core.log.Error("when the last backup was finished could not be noted", loggable(err))
	}
}

// copy makes a compacted copy of the store in a file without a name, unless gone is closed before its turn.
func (b *backUp) copy(gone <-chan struct{}) (*os.File, int64, error) {
	select {
	case b.turn <- struct{}{}:
		defer func() { <-b.turn }()
	case <-gone:
		return nil, 0, errors.New("whoever asked for a backup is gone")
	}
	size, err := b.core.home.size()
	if err == nil {
		err = b.core.home.hasRoom(2 * size) // a compacted copy beside the store, and this one
	}
	if err != nil {
		return nil, 0, err
	}
	f, err := b.spool.file()
	if err != nil {
		return nil, 0, err
	}
	if err = b.core.engine.Snapshot(f); err == nil {
		size, err = f.Seek(0, io.SeekCurrent)
	}
	if err == nil {
		_, err = f.Seek(0, io.SeekStart)
	}
	if err != nil {
		return nil, 0, errors.Join(fmt.Errorf("backup: %w", err), f.Close())
	}
	return f, size, nil
}

// asked is a copy that the server which runs on a folder was asked for.
type asked struct {
	net.Conn
	said *bufio.Reader
}

func askRunning(dir string) (*asked, error) {
	c, err := net.Dial("unix", filepath.Join(dir, backupSocket))
	if err != nil {
		return nil, byRunning(err)
	}
	return &asked{c, bufio.NewReader(c)}, nil
}

func byRunning(err error) error { return fmt.Errorf("the server that runs there: %w", err) }

func (a *asked) line() (string, error) {
	s, err := a.said.ReadString('\n')
	if err != nil {
		return "", byRunning(err)
	}
	return strings.TrimSpace(s), nil
}

// writeTo writes the copy.
func (a *asked) writeTo(w io.Writer) error {
	line, err := a.line()
	if err != nil {
		return err
	}
	size, err := strconv.ParseInt(line, 10, 64)
	if err != nil {
		return byRunning(errors.New(line))
	}
	if _, err = io.CopyN(w, a.said, size); err != nil {
		return fmt.Errorf("the server that runs there sent less than the %d bytes that it said: %w", size, err)
	}
	return nil
}

// isTaken says that the copy is whole and has its name, and returns once that is noted.
func (a *asked) isTaken() error {
	if _, err := fmt.Fprintln(a, taken); err != nil {
		return byRunning(err)
	}
	_, err := a.line()
	return err
}
