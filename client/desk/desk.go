// Package desk serves the page that a person works on, from their own client on their own machine.
// It shows only what the client verified, and signs only after the person confirmed that signature.
package desk

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"witnessmark/client"
	"witnessmark/client/workshop"
	inuse "witnessmark/store/held"
)

// Options is what a desk needs.
type Options struct {
	// Client is whose desk it is. Nil where this machine knows no workshop yet, or nobody was there to type the
	// key's passphrase: the desk then begins with a welcome, which Welcome says more of.
	Client  *client.Client
	Welcome Welcome
	// Daemon is the workshop's, where this program runs it: its end is the desk's. Nil for none.
	Daemon *workshop.Daemon
	// Confirm stands between the page and the key; nil lets the desk sign nothing.
	Confirm Confirmer
	// Listen is a loopback address as IP:PORT; port 0 picks one. Empty is 127.0.0.1:0.
	Listen string
	// CodeLife is how long a one-use code opens the door; 0 is a minute.
	CodeLife time.Duration
	Logger   *slog.Logger // nil logs nowhere
}

// Desk is a running desk.
type Desk struct {
	client    *client.Client
	confirm   Confirmer
	log       *slog.Logger
	door      *door
	pages     *pages
	events    *events
	drafts    *keep[*client.Draft]
	corridors *keep[*client.CorridorDraft]
	maps      mapRuns
	taken     *keep[*takenFiles]
	notes     *keep[note]
	told      *told
	backup    reminder
	dir       string // private, for uploads, collected files and the door's file
	removed   func() error
	server    *http.Server
	stop      context.CancelFunc
	done      sync.WaitGroup

	inside atomic.Pointer[http.ServeMux] // the pages that there are; others once the desk is somebody's
	opened chan struct{}                 // closed when it is
	daemon []string                      // how the server runs that was started from here; empty where none was
	own    owned
	firsts atomic.Bool // all that a workshop needs first is there
}

// Start listens on loopback and serves until Close.
func Start(o Options) (*Desk, error) {
	listener, err := listen(o.Listen)
	if err != nil {
		return nil, err
	}
	d, err := newDesk(o, listener.Addr().String())
	if err != nil {
		return nil, errors.Join(err, listener.Close())
	}
	ctx, cancel := context.WithCancel(context.Background())
	d.stop = cancel
	if o.Daemon != nil {
		_ = d.hasRun(o.Daemon) // nothing has ended yet
	}
	var w *welcome
	if o.Client == nil {
		w = d.newWelcome(ctx, o.Welcome)
	} else {
		d.opens(o.Client, o.Confirm)
	}
	d.server = &http.Server{Handler: d.handler(), ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute,
		BaseContext: func(net.Listener) context.Context { return ctx }}
	d.done.Go(func() {
		if w == nil || w.waits() {
			d.watch(ctx)
		}
	})
	d.done.Go(func() { d.door.keepFresh(ctx) })
	d.done.Go(func() {
		if err := d.server.Serve(listener); !errors.Is(err, http.ErrServerClosed) {
			d.log.Error("the desk stopped serving", "error", err)
		}
	})
	return d, nil
}

func newDesk(o Options, addr string) (*Desk, error) {
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	if o.CodeLife == 0 {
		o.CodeLife = time.Minute
	}
	p, err := loadPages()
	if err != nil {
		return nil, err
	}
	dir, done, err := inuse.Folder(os.TempDir(), client.DeskFolder)
	if err != nil {
		return nil, err
	}
	d := &Desk{log: o.Logger, pages: p, dir: dir, removed: done, opened: make(chan struct{}),
		events: newEvents(), drafts: newKeep[*client.Draft](15 * time.Minute), corridors: newKeep[*client.CorridorDraft](15 * time.Minute),
		taken: newKeep[*takenFiles](12 * time.Hour), notes: newKeep[note](15 * time.Minute)}
	if d.door, err = newDoor(addr, dir, o.CodeLife); err != nil {
		return nil, errors.Join(err, done())
	}
	return d, nil
}

// listen refuses every address that another machine could reach, and every name: a name can be
// made to point elsewhere.
func listen(addr string) (net.Listener, error) {
	if addr == "" {
		addr = "127.0.0.1:0"
	}
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return nil, fmt.Errorf("--listen %q: %w; allowed: 127.0.0.1:PORT or [::1]:PORT", addr, err)
	}
	if ip := net.ParseIP(host); ip == nil || !ip.IsLoopback() {
		return nil, fmt.Errorf("--listen %q: not a loopback address; allowed: 127.0.0.1:PORT or [::1]:PORT", addr)
	}
	return net.Listen("tcp", addr)
}

// URL is the desk's address. It holds no secret and lets nobody in.
func (d *Desk) URL() string { return "http://" + d.door.host + "/" }

// DoorFile is the private file that lets a browser in: it posts a code that works once, within its
// minute. The desk keeps a fresh code in it.
func (d *Desk) DoorFile() string { return d.door.file }

// Close stops the desk and removes its folder.
func (d *Desk) Close() error {
	d.stop()
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	err := d.server.Shutdown(ctx)
	if err != nil {
		err = d.server.Close()
	}
	d.done.Wait()
	return errors.Join(err, d.own.end(), d.removed())
}

// opens makes the desk somebody's; from then on it shows their pages.
func (d *Desk) opens(c *client.Client, confirm Confirmer) {
	if confirm == nil {
		confirm = Never{}
	}
	d.client, d.confirm, d.told = c, confirm, &told{also: c.Say}
	c.Say = d.told.say
	d.inside.Store(d.rooms())
	close(d.opened)
}

// hasRun has a daemon end with the desk, which says how it runs.
func (d *Desk) hasRun(daemon *workshop.Daemon) error {
	d.daemon = daemon.Says
	return d.own.add(daemon.Stop)
}

// Says tells who looks at the desk something that nobody asked for.
func (d *Desk) Says(line string) {
	if d.isOpen() {
		d.told.say(line)
	} else {
		d.log.Warn(line)
	}
}

func (d *Desk) isOpen() bool {
	select {
	case <-d.opened:
		return true
	default:
		return false
	}
}

// owned is what ends with the desk, the last first.
type owned struct {
	mu    sync.Mutex
	ended bool
	ends  []func() error
}

// add takes something up; where the desk has ended meanwhile, it ends at once.
func (o *owned) add(end func() error) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.ended {
		return errors.Join(errors.New("the desk was stopped"), end())
	}
	o.ends = append(o.ends, end)
	return nil
}

func (o *owned) end() error {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.ended = true
	var errs []error
	for _, end := range slices.Backward(o.ends) {
		errs = append(errs, end())
	}
	return errors.Join(errs...)
}

// watch follows the ledger and tells the pages when it has grown, and when the server is lost or found. A lost one is asked
// again; what was signed and never answered is settled first.
func (d *Desk) watch(ctx context.Context) {
	lost := false
	for wait := time.Second; ctx.Err() == nil; wait = min(2*wait, 30*time.Second) {
		if err := d.client.Resume(ctx); err != nil {
			d.log.Warn("what was signed earlier is not settled yet", "error", err)
		}
		err := d.client.Sync(ctx)
		d.events.tell(d.client.Head().Size) // what came while nobody watched
		if err == nil {
			if lost {
				lost = false
				d.events.turn()
			}
			err = d.client.Watch(ctx, func() {
				wait = time.Second
				d.events.tell(d.client.Head().Size)
			})
		}
		if ctx.Err() != nil {
			return
		}
		d.log.Warn("the ledger is not watched", "error", err)
		if !lost {
			lost = true
			d.events.turn()
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
	}
}
