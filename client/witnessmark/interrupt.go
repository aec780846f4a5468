package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"

	"golang.org/x/term"

	"witnessmark/client"
)

// How long a command that was told to end may take: to end by itself, and to bring what it has begun to an end.
const (
	grace    = 200 * time.Millisecond
	lastWait = 5 * time.Second
)

// interruptible runs a command and answers with its exit status. SIGINT, SIGTERM and SIGHUP end it at once, whatever it
// is doing, once nothing of it is left half done: 128 and the signal's number. A second one does not wait for that.
func interruptible(in io.Reader, errOut io.Writer, run func(context.Context) int) int {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	told := make(chan os.Signal, 1)
	signal.Notify(told, os.Interrupt, syscall.SIGTERM)
	if !signal.Ignored(syscall.SIGHUP) { // as nohup has it
		signal.Notify(told, syscall.SIGHUP)
	}
	defer signal.Stop(told)
	restore := terminalAsNow(in, errOut)
	ended := make(chan int, 1)
	go func() { ended <- run(ctx) }()
	select {
	case status := <-ended:
		return status
	case s := <-told:
		signal.Stop(told)
		cancel()
		select {
		case <-ended:
		case <-time.After(grace):
			client.Finish(lastWait)
		}
		restore()
		number, _ := s.(syscall.Signal)
		return 128 + int(number)
	}
}

// terminalAsNow remembers how a terminal is; the answer puts it back, as after a passphrase that was not
// typed to its end, and begins a line.
func terminalAsNow(in io.Reader, errOut io.Writer) (restore func()) {
	f, ok := in.(*os.File)
	if !ok {
		return func() {}
	}
	fd := int(f.Fd())
	state, err := term.GetState(fd)
	if err != nil {
		return func() {}
	}
	return func() {
		_ = term.Restore(fd, state) // there is nobody to tell
		fmt.Fprintln(errOut)
	}
}
