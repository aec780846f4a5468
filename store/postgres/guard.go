package postgres

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"witnessmark/store"
)

// What a database shows may not be durable: a commit is visible whose wait for a standby was cancelled, and
// after a crash one is that nobody was told of; a standby that takes over then lacks it. The log is replayed
// in order, so that a commit that wrote something and was answered without a warning makes all durable
// that was visible before it.
//
// Every Update raises the number of updates. confirmed is the highest of which this engine knows, by such a
// clean commit of its own, that it is durable; what is beyond is neither shown nor acknowledged before another
// clean commit. A lost connection, a warning, and a server that is another process than before begin a new
// epoch: nothing is confirmed then, and no connection of the older one is used any more.

// errMoved is a transaction whose epoch ended; it has to begin again.
var errMoved = errors.New("the connection to the database was lost")

// errNotThere is a commit whose answer was lost, of which it is certain that it did not happen.
var errNotThere = errors.New("the update was lost before it was committed")

// join takes a new connection into the epoch; server is which run of which server it leads to.
func (e *Engine) join(c *conn, server string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.server != "" && e.server != server {
		e.newEpoch("it is served by another process than before")
	}
	e.server, c.epoch = server, e.epoch
	if e.away != nil {
		e.away = nil
		e.options.Log.Info("the database is back", "database", e.place)
	}
}

// newEpoch is for whoever holds mu.
func (e *Engine) newEpoch(why string) {
	e.epoch++
	e.server, e.confirmed = "", -1
	e.options.Log.Warn("what the database shows is confirmed anew", "database", e.place, "why", why)
}

// lost ends the epoch if err was the end of the connection.
func (e *Engine) lost(c *conn, err error) {
	if isLost(err) {
		e.distrust(c, "a connection was lost")
	}
}

func (e *Engine) distrust(c *conn, why string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if c.epoch == e.epoch {
		e.newEpoch(why)
	}
}

// clean is told of each commit that wrote something and was answered without a warning.
func (e *Engine) clean(c *conn, updates int64) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.highest = max(e.highest, updates)
	if c.epoch == e.epoch {
		e.confirmed = max(e.confirmed, updates)
	}
}

// durable waits until what a transaction saw is known to be durable: at once, if it is confirmed.
func (e *Engine) durable(c *conn, updates int64) error {
	known := func() (bool, error) {
		e.mu.Lock()
		defer e.mu.Unlock()
		if e.unguarded {
			return true, nil
		}
		if c.epoch != e.epoch {
			return false, errMoved
		}
		return e.confirmed >= updates, nil
	}
	if ok, err := known(); ok || err != nil {
		return err
	}
	late := time.NewTimer(e.options.Patience)
	defer late.Stop()
	select {
	case <-e.nextRound():
	case <-late.C:
		return fmt.Errorf("%s: %w: it does not confirm what it shows; does a synchronous standby answer?", e.place, store.ErrAway)
	}
	if ok, err := known(); ok || err != nil {
		return err
	}
	return errMoved
}

// nextRound is closed after a commit of the guard that began after this was called. All who wait share it.
func (e *Engine) nextRound() <-chan struct{} {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.next == nil {
		e.next = make(chan struct{})
	}
	if !e.rounds {
		e.rounds = true
		go e.goRound()
	}
	return e.next
}

func (e *Engine) goRound() {
	for {
		e.mu.Lock()
		done := e.next
		e.next = nil
		if done == nil {
			e.rounds = false
			if e.closed && e.keeper != nil {
				e.keeper.close()
				e.keeper = nil
			}
			e.mu.Unlock()
			return
		}
		e.mu.Unlock()
		e.round()
		close(done)
	}
}

// round is one commit of the guard, on a connection of its own. What fails, those who wait find not confirmed.
func (e *Engine) round() {
	e.mu.Lock()
	c := e.keeper
	if c != nil && c.epoch != e.epoch {
		c.close()
		c = nil
	}
	e.mu.Unlock()
	var err error
	if c == nil {
		if c, err = e.connect(); err != nil {
			e.keeper = nil
			return
		}
	}
	e.keeper = c
	if _, err := e.confirm(c); err != nil {
		c.close()
		e.keeper = nil
	}
}

// confirm commits something and answers with what it brought along, if the commit was clean.
func (e *Engine) confirm(c *conn, calls ...call) ([]answer, error) {
	c.warned = false
	calls = append(append([]call{do(beginUpdate)}, calls...), do(readState), do(writeSomething), do(commit))
	got, err := c.run(calls...)
	if err == nil && c.warned {
		e.distrust(c, "a standby's wait was cancelled")
		err = errMoved
	}
	e.lost(c, err)
	if err != nil {
		return nil, err
	}
	s, err := parseState(got[len(got)-3])
	if err != nil {
		return nil, err
	}
	e.clean(c, s.number)
	return got, nil
}

// outcome finds out whether an update is there whose COMMIT was lost or warned about: behind the writers' lock,
// which the lost one holds as long as it may still happen, and in a commit that was clean.
func (e *Engine) outcome(of update) error {
	for wait, until := 10*time.Millisecond, time.Now().Add(e.options.Patience); ; wait = min(2*wait, time.Second) {
		there, err := e.askOutcome(of, time.Until(until))
		switch {
		case err == nil && there:
			return nil
		case err == nil:
			return errNotThere
		case time.Now().Add(wait).After(until):
			return fmt.Errorf("%s: %w: the commit's answer was lost", e.place, store.ErrUncertain)
		}
		time.Sleep(wait)
	}
}

func (e *Engine) askOutcome(of update, atMost time.Duration) (there bool, err error) {
	c, err := e.connect()
	if err != nil {
		return false, err
	}
	type reply struct {
		got []answer
		err error
	}
	replies := make(chan reply, 1)
	go func() { // which ends with the connection, when the server has come to terms with the lost one
		defer c.close()
		got, err := e.confirm(c, do(lockWriters), do(readCommit, integer(of.number%commitsKept)))
		replies <- reply{got, err}
	}()
	late := time.NewTimer(atMost)
	defer late.Stop()
	select {
	case r := <-replies:
		if r.err != nil {
			return false, r.err
		}
		row := r.got[2].one()
		if row == nil || int64(binary.BigEndian.Uint64(row[0])) < of.number {
			return false, nil
		}
		if int64(binary.BigEndian.Uint64(row[0])) > of.number {
			return false, errors.New("too many others were committed since")
		}
		return bytes.Equal(row[1], of.id[:]), nil
	case <-late.C:
		return false, errors.New("the database does not say what became of the commit")
	}
}

// commitsKept is how many updates back the database remembers which ones they were.
const commitsKept = 1024
