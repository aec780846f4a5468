package desk

import (
	"bufio"
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"time"

	"witnessmark/client"
)

// Confirmer stands between a session and the key: a session alone never signs.
type Confirmer interface {
	// Says is the sentence beside a button that signs: what will be asked, and where.
	Says() string
	// Typed says whether the page asks for the key's passphrase.
	Typed() bool
	// Confirm returns nil only if the person said yes to this one signature.
	Confirm(ctx context.Context, what, typed string) error
}

// Never confirms nothing.
type Never struct{}

// Says implements Confirmer.
func (Never) Says() string {
	return "This desk cannot sign: the key has no passphrase, and there was no terminal to ask in. Start the desk in a terminal."
}

// Typed implements Confirmer.
func (Never) Typed() bool { return false }

// Confirm implements Confirmer.
func (n Never) Confirm(context.Context, string, string) error { return errors.New(n.Says()) }

// ByPassphrase decrypts the key's file again at every signature.
type ByPassphrase struct {
	File string
	Key  ed25519.PublicKey
}

// Says implements Confirmer.
func (ByPassphrase) Says() string {
	return "Each signature needs the passphrase of your key. It is used once, here, and kept nowhere."
}

// Typed implements Confirmer.
func (ByPassphrase) Typed() bool { return true }

// Confirm implements Confirmer.
func (p ByPassphrase) Confirm(_ context.Context, _, typed string) error {
	if typed == "" {
		return errors.New("nothing was signed: the passphrase of your key is missing")
	}
	asked := false
	signer, err := client.LoadSigner(p.File, func(string) ([]byte, error) {
		asked = true
		return []byte(typed), nil
	})
	switch {
	case err != nil:
		return errors.New("nothing was signed: the passphrase does not open your key")
	case !asked:
		return errors.New("nothing was signed: the key's file has no passphrase any more; start the desk again")
	case !p.Key.Equal(signer.Public()):
		return errors.New("nothing was signed: the key's file holds another key than the desk was started with; start the desk again")
	}
	return nil
}

// ByAgent leaves it to ssh-agent to ask at every signature; the person told the desk that theirs does.
type ByAgent struct{}

// Says implements Confirmer.
func (ByAgent) Says() string { return "Your ssh-agent asks you before it signs." }

// Typed implements Confirmer.
func (ByAgent) Typed() bool { return false }

// Confirm implements Confirmer.
func (ByAgent) Confirm(context.Context, string, string) error { return nil }

// Terminal asks in the terminal that the desk was started from. One Terminal may serve several
// desks; Whose tells them apart.
type Terminal struct {
	out  io.Writer
	turn sync.Mutex // one question at a time

	mu    sync.Mutex
	asked chan string // takes the next line; nil while no question is open
	ended bool
}

// NewTerminal reads in from now on; lines that nobody asked for are dropped.
func NewTerminal(in io.Reader, out io.Writer) *Terminal {
	t := &Terminal{out: out}
	go func() {
		s := bufio.NewScanner(in)
		for s.Scan() {
			if ch := t.swap(nil); ch != nil {
				ch <- s.Text()
			}
		}
		t.mu.Lock()
		t.ended = true
		t.mu.Unlock()
		if ch := t.swap(nil); ch != nil {
			close(ch)
		}
	}()
	return t
}

// swap puts another question, or none, in place of the one that is open.
func (t *Terminal) swap(next chan string) (last chan string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if next != nil && t.ended {
		close(next)
		return nil
	}
	last, t.asked = t.asked, next
	return last
}

// For is a Confirmer that asks whose signature it is.
func (t *Terminal) For(person string) Confirmer { return byTerminal{t, person} }

type byTerminal struct {
	terminal *Terminal
	person   string
}

func (byTerminal) Says() string {
	return "Each signature asks for a yes in the terminal that the desk was started from."
}

func (byTerminal) Typed() bool { return false }

// patience is how long a question waits in the terminal.
const patience = 2 * time.Minute

func (b byTerminal) Confirm(ctx context.Context, what, _ string) error {
	t := b.terminal
	t.turn.Lock()
	defer t.turn.Unlock()
	answer := make(chan string, 1)
	t.swap(answer)
	defer t.swap(nil)
	fmt.Fprintf(t.out, "%s: %s. Sign? Type yes: ", clean(b.person), clean(what))
	select {
	case line, ok := <-answer:
		if ok && strings.EqualFold(strings.TrimSpace(line), "yes") {
			return nil
		}
		return errors.New("nothing was signed: the answer in the terminal was not yes")
	case <-time.After(patience):
		fmt.Fprintln(t.out, "no answer; nothing was signed")
		return errors.New("nothing was signed: nobody answered in the terminal")
	case <-ctx.Done():
		fmt.Fprintln(t.out, "the page was left; nothing was signed")
		return ctx.Err()
	}
}

// clean keeps text to one line without control characters, so that it cannot move the cursor.
func clean(s string) string {
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r < ' ' || r >= 0x7f && r < 0xa0 }), " ")
}

// ConfirmerFor chooses by the key: a passphrase where the file has one; the agent where the person
// says that it asks; otherwise the terminal, if there is one.
func ConfirmerFor(c *client.Client, home *client.Home, agentAsks bool, t *Terminal) (Confirmer, error) {
	config, err := home.Config()
	if err != nil {
		return nil, err
	}
	asked := false
	_, err = client.LoadSigner(config.Key, func(string) ([]byte, error) {
		asked = true
		return nil, errors.New("only asked whether there is one")
	})
	if asked {
		return ByPassphrase{File: config.Key, Key: c.Key()}, nil
	}
	if err != nil {
		return nil, err
	}
	if agentAsks {
		return ByAgent{}, nil
	}
	if t == nil {
		return Never{}, nil
	}
	me, err := c.Me()
	if err != nil {
		return nil, err
	}
	return t.For(me.Name), nil
}
