package main

import (
	"bytes"
	"io"
	"os"
	"unicode/utf8"

	"golang.org/x/term"
)

// Keys that are no characters.
const (
	keyEnter     = '\r'
	keyEscape    = '\x1b'
	keyBackspace = '\x7f'
	keyInterrupt = '\x03' // Ctrl-C, which is no signal while single keys are read
)

// keyboard is single keys of a terminal, and what is printed meanwhile.
type keyboard struct {
	keys <-chan rune // closed when the terminal is gone
	end  func()
}

// openKeyboard reads single keys of a terminal until end. What the app prints meanwhile begins each line at
// the left, which such a terminal does not do by itself.
func (a *app) openKeyboard() (*keyboard, error) {
	in := a.in.(*os.File)
	was, err := term.MakeRaw(int(in.Fd()))
	if err != nil {
		return nil, usage("this terminal gives no single keys: %v", err)
	}
	keys, ended := make(chan rune, 256), make(chan struct{})
	go func() {
		defer close(keys)
		readKeys(in, func(key rune) bool {
			select {
			case keys <- key:
				return true
			case <-ended:
				return false
			}
		})
	}()
	out, errOut := a.out, a.errOut
	a.out, a.errOut = leftward(out), leftward(errOut)
	return &keyboard{keys, func() {
		close(ended)
		a.out, a.errOut = out, errOut
		_ = term.Restore(int(in.Fd()), was) // interrupt.go does it once more
	}}, nil
}

// readKeys tells of each key until the terminal is gone, or nobody listens. Ctrl-C does what it does anywhere else.
func readKeys(in io.Reader, press func(rune) bool) {
	for had, buf := []byte(nil), make([]byte, 256); ; {
		n, err := in.Read(buf)
		for had = append(had, buf[:n]...); len(had) > 0 && (utf8.FullRune(had) || err != nil); {
			if sent := sequence(had); sent > 0 {
				had = had[sent:]
				continue
			}
			key, size := utf8.DecodeRune(had)
			had = had[size:]
			switch key {
			case '\n':
				key = keyEnter
			case '\b':
				key = keyBackspace
			}
			if key == keyInterrupt && interruptSelf() == nil {
				continue
			}
			if !press(key) {
				return
			}
		}
		if err != nil {
			return
		}
	}
}

// sequence is the length of what a key sends that is no character, such as an arrow; 0 of others. It comes at once,
// so that Escape is what nothing follows.
func sequence(b []byte) int {
	if len(b) < 2 || b[0] != keyEscape {
		return 0
	}
	if b[1] != '[' && b[1] != 'O' {
		return 2
	}
	for i, c := range b[2:] {
		if '@' <= c && c <= '~' {
			return i + 3
		}
	}
	return len(b)
}

// dropped forgets the keys that were pressed before somebody could see what they would be about.
func (k *keyboard) dropped() {
	for {
		select {
		case _, ok := <-k.keys:
			if !ok {
				return
			}
		default:
			return
		}
	}
}

// leftward has each line begin at the left of a terminal that only moves down.
func leftward(w io.Writer) io.Writer {
	if f, ok := w.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		return leftFile{f}
	}
	return w
}

// leftFile is still a terminal to whoever asks which colours it has.
type leftFile struct{ f *os.File }

func (l leftFile) Fd() uintptr                { return l.f.Fd() }
func (l leftFile) Read(b []byte) (int, error) { return l.f.Read(b) }
func (l leftFile) Close() error               { return l.f.Close() }

func (l leftFile) Write(b []byte) (int, error) {
	if _, err := l.f.Write(bytes.ReplaceAll(b, []byte("\n"), []byte("\r\n"))); err != nil {
		return 0, err
	}
	return len(b), nil
}

// interruptSelf is Ctrl-C where the terminal makes no signal of it. Not every system can.
func interruptSelf() error {
	p, err := os.FindProcess(os.Getpid())
	if err == nil {
		err = p.Signal(os.Interrupt)
	}
	return err
}
