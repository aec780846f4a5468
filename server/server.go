// Package server is who may do it: the gRPC services over the store and the tables. It
// orders and admits what people signed, after it recomputed everything they claim.
package server

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"net"
	"net/http"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/built"
)

// Options is what a server needs.
type Options struct {
	Place  Place  // made by Init; its log is the server's
	Listen string // HOST:PORT; port 0 picks one
	// Now is the clock of entries; nil is time.Now.
	Now func() time.Time
	// StopWithin bounds how long a clean stop waits for calls under way; 0 is five seconds.
	StopWithin time.Duration
	// Metrics is a loopback HOST:PORT where Prometheus finds the server's figures; empty for none.
	Metrics string
	// Version is what the server says that it was built from; empty is what this program was.
	Version string
	// Backups lets whoever may read the folder have a copy of the store while the server runs.
	Backups bool

	bounds *bounds                         // a test's own
	wrap   func(store.Engine) store.Engine // a test's own engine around the place's
}

const stopWithin = 5 * time.Second

// Server is a running server.
type Server struct {
	core     *core
	home     *home
	spool    *spool
	grpc     *grpc.Server
	health   *health.Server
	listener *listener
	backUp   *backUp
	metrics  *http.Server
	gate     *gate
	log      *slog.Logger
	within   time.Duration
	stopping chan struct{}
	stopOnce sync.Once
	served   chan error
	finished chan struct{}
	stopErr  error
}

// Start opens the place, takes its store up, listens, and serves until Stop.
func Start(o Options) (*Server, error) {
	if o.Place.Log == nil {
		o.Place.Log = slog.New(slog.DiscardHandler)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	o.StopWithin, o.Version = cmp.Or(o.StopWithin, stopWithin), cmp.Or(o.Version, built.Version())
	if o.bounds == nil {
		usual := usualBounds()
		o.bounds = &usual
	}
	h, err := o.Place.open(false)
	if err != nil {
		return nil, err
	}
	if o.wrap != nil {
		h.engine = o.wrap(h.engine)
	}
	s, err := start(o, h)
	if err != nil {
		return nil, errors.Join(err, h.close())
	}
	return s, nil
}

func start(o Options, h *home) (*Server, error) {
	sp, err := openSpool(h.spool(), o.bounds.spooled)
	if err != nil {
		return nil, err
	}
	s := &Server{
		home: h, spool: sp, log: o.Place.Log, within: o.StopWithin, health: health.NewServer(),
		stopping: make(chan struct{}), served: make(chan error, 1), finished: make(chan struct{}),
	}
	s.core, err = newCore(h, o.Place.Log, o.Now, s.serving)
	if err != nil {
		return nil, err
	}
	if err := s.listen(o); err != nil {
		s.core.close()
		return nil, err
	}
	o.Place.Log.Info("listening", "addr", s.Addr(), "entries", s.core.size)
	if h.shared() {
		s.core.follow()
	}
	go func() { s.served <- s.grpc.Serve(s.listener) }()
	go s.core.checkDocuments()
	return s, nil
}

// serving tells whoever asks for its health whether actions can be admitted.
func (s *Server) serving(can bool) {
	status, writes := healthv1.HealthCheckResponse_NOT_SERVING, 0.0
	if can {
		status, writes = healthv1.HealthCheckResponse_SERVING, 1
	}
	s.health.SetServingStatus("", status)
	s.core.figures.writes.Set(writes)
}

// listen makes the gRPC server, resolves who may call what, and opens the ports.
func (s *Server) listen(o Options) error {
	c, b := s.core, o.bounds
	config, err := serverTLS(s.home.key, c.known)
	if err != nil {
		return err
	}
	g := &gate{core: c, log: o.Place.Log, bounds: b, calls: newRoom(b.calls), asking: newPace(b.asking), figures: c.figures}
	s.gate = g
	s.grpc = grpc.NewServer(
		grpc.Creds(&door{credentials.NewTLS(config), c, newPace(b.arriving), newRoom(b.connections), newRoom(b.former), b.handshake}),
		grpc.InTapHandle(g.tap),
		grpc.ChainUnaryInterceptor(g.unary),
		grpc.ChainStreamInterceptor(g.stream),
		grpc.StatsHandler(c.figures),
		grpc.ForceServerCodecV2(countedCodec()),
		grpc.MaxRecvMsgSize(maxMessage),
		grpc.MaxHeaderListSize(maxHeaders),
		grpc.StaticStreamWindowSize(window),
		grpc.StaticConnWindowSize(4*window),
		grpc.MaxConcurrentStreams(perConnection),
		grpc.ConnectionTimeout(b.handshake),
		grpc.KeepaliveParams(keepalive.ServerParameters{Time: 2 * time.Minute, Timeout: 20 * time.Second}),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 30 * time.Second, PermitWithoutStream: true}),
	)
	s.backUp = &backUp{core: c, spool: s.spool, bounds: b, turn: make(chan struct{}, 1)}
	s.register(o)
	if g.rules, err = resolveAccess(s.grpc.GetServiceInfo()); err != nil {
		return fmt.Errorf("who may call what: %w", err)
	}
	l, err := net.Listen("tcp", o.Listen)
	if err != nil {
		return fmt.Errorf("listen: %w", err)
	}
	s.listener = newListener(l, b.handshakes)
	if o.Metrics != "" {
		err = s.tell(o.Metrics)
	}
	if err != nil {
		return errors.Join(err, l.Close())
	}
	if o.Backups && !s.home.shared() { // of a database whoever has its URL makes one
		if err := s.backUp.listen(o.Place.Dir); err != nil { // a folder's name may be too long for a socket
			s.log.Warn("while it runs only a lead can fetch a backup", loggable(err))
		}
	}
	return nil
}

// hush closes what is only for this machine.
func (s *Server) hush() (err error) {
	if s.metrics != nil {
		err = s.metrics.Close()
	}
	if s.backUp.socket != nil {
		err = errors.Join(err, s.backUp.socket.Close())
	}
	return err
}

// tell serves the figures.
func (s *Server) tell(addr string) error {
	f := s.core.figures
	web, l, err := f.listen(addr)
	if err != nil {
		return err
	}
	s.metrics = web
	f.follow("connections", "connections that are open", func() float64 { open, _ := s.listener.count(); return float64(open) })
	f.follow("handshakes", "connections without a known key yet", func() float64 { _, young := s.listener.count(); return float64(young) })
	f.follow("calls_under_way", "calls under way", func() float64 { return float64(s.gate.calls.total()) })
	f.follow("spooled_bytes", "bytes of actions on their way in", func() float64 { return float64(s.spool.held.total()) })
	f.follow("ledger_entries", "entries of the ledger", func() float64 { _, size, _ := s.core.head(); return float64(size) })
	f.follow("disk_free_bytes", "room on the disk of the server's folder", func() float64 {
		n, err := freeBytes(s.home.dir)
		if err != nil {
			return math.NaN()
		}
		return float64(n)
	})
	s.log.Info("telling figures", "metrics", l.Addr().String())
	go func() { _ = web.Serve(l) }() // until Stop
	return nil
}

func (s *Server) register(o Options) {
	c, b := s.core, o.bounds
	servicev1.RegisterRecordServer(s.grpc, &recordServer{core: c, spool: s.spool, bounds: b, stopping: s.stopping})
	servicev1.RegisterBlobsServer(s.grpc, &blobsServer{core: c, sending: newRoom(b.sending)})
	servicev1.RegisterJobsServer(s.grpc, &jobsServer{core: c})
	servicev1.RegisterCatalogServer(s.grpc, &catalogServer{core: c})
	servicev1.RegisterPeopleServer(s.grpc, &peopleServer{core: c})
	servicev1.RegisterComparisonsServer(s.grpc, &comparisonsServer{core: c, running: make(chan struct{}, atOnce)})
	servicev1.RegisterAdminServer(s.grpc, &adminServer{backUp: s.backUp, version: o.Version})
	healthv1.RegisterHealthServer(s.grpc, s.health)
	reflection.Register(s.grpc)
}

// Addr is where the server listens, as HOST:PORT.
func (s *Server) Addr() string { return s.listener.Addr().String() }

// Stop stops cleanly: no new calls, watchers are told, calls under way may finish within a
// bound, then the store is closed. Stopping twice waits for the first.
func (s *Server) Stop() error {
	s.stopOnce.Do(func() {
		defer close(s.finished)
		s.health.Shutdown()
		close(s.stopping)
		graceful := make(chan struct{})
		go func() { s.grpc.GracefulStop(); close(graceful) }()
		select {
		case <-graceful:
		case <-time.After(s.within):
			s.listener.closeAll() // those that never said a word, which Stop would wait for
			s.grpc.Stop()
			<-graceful
		}
		ctx, cancel := context.WithTimeout(context.Background(), s.within)
		defer cancel()
		handlers := make(chan struct{})
		go func() { s.gate.under.Wait(); close(handlers) }()
		select {
		case <-handlers:
		case <-ctx.Done():
			s.log.Error("streams are still under way; stopping all the same")
		}
		s.core.close()
		_ = s.hush()
		if err := s.home.close(); err != nil {
			s.stopErr = fmt.Errorf("close the store: %w", err)
		}
		s.log.Info("stopped")
	})
	<-s.finished
	return s.stopErr
}

// Serve runs a server until ctx ends, then stops it cleanly. A write that failed ends it with an error:
// what the disk has is known when it is started again.
func Serve(ctx context.Context, o Options) error {
	s, err := Start(o)
	if err != nil {
		return err
	}
	return s.serve(ctx)
}

func (s *Server) serve(ctx context.Context) error {
	select {
	case <-ctx.Done():
		return s.Stop()
	case <-s.core.ended:
		return errors.Join(s.core.isBroken(), s.Stop())
	case err := <-s.served:
		return errors.Join(fmt.Errorf("serve: %w", err), s.Stop())
	}
}
