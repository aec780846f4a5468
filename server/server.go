// Package server is who may do it: the gRPC services over the store and the tables. It
// orders and admits what people signed, after it recomputed everything they claim.
package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"path/filepath"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

// Options is what a server needs.
type Options struct {
	Dir    string       // made by Init
	Listen string       // HOST:PORT; port 0 picks one
	Logger *slog.Logger // nil logs nowhere
	// Now is the clock of entries and uploads; nil is time.Now.
	Now func() time.Time
	// StopWithin bounds how long a clean stop waits for calls under way; 0 is five seconds.
	StopWithin time.Duration
	// UploadIdle is how long an upload may send nothing; 0 is a minute.
	UploadIdle time.Duration
}

const (
	stopWithin = 5 * time.Second
	uploadIdle = time.Minute
)

// Server is a running server.
type Server struct {
	core     *core
	folder   *folder
	grpc     *grpc.Server
	health   *health.Server
	listener *listener
	gate     *gate
	log      *slog.Logger
	within   time.Duration
	stopping chan struct{}
	stopOnce sync.Once
	served   chan error
	finished chan struct{}
	stopErr  error
}

// Start opens the folder, rebuilds the state, listens, and serves until Stop.
func Start(o Options) (*Server, error) {
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.StopWithin == 0 {
		o.StopWithin = stopWithin
	}
	if o.UploadIdle == 0 {
		o.UploadIdle = uploadIdle
	}
	f, err := openFolder(o.Dir, false)
	if err != nil {
		return nil, err
	}
	s, err := start(o, f)
	if err != nil {
		return nil, errors.Join(err, f.engine.Close())
	}
	return s, nil
}

func start(o Options, f *folder) (*Server, error) {
	staged, err := openStaging(filepath.Join(o.Dir, stagedFolder), o.Now)
	if err != nil {
		return nil, err
	}
	c, err := newCore(coreOptions{Engine: f.engine, Key: f.key, Staged: staged, Log: o.Logger, Now: o.Now, Keep: f.keep, Kept: f.kept})
	if err != nil {
		return nil, err
	}
	s := &Server{
		core: c, folder: f, log: o.Logger, within: o.StopWithin, health: health.NewServer(),
		stopping: make(chan struct{}), served: make(chan error, 1), finished: make(chan struct{}),
	}
	c.onBroken = func() { s.health.SetServingStatus("", healthv1.HealthCheckResponse_NOT_SERVING) }
	if err := s.listen(o); err != nil {
		c.close(context.Background())
		return nil, err
	}
	o.Logger.Info("listening", "addr", s.Addr(), "entries", c.committed.state.Size)
	go func() { s.served <- s.grpc.Serve(s.listener) }()
	go s.tidy()
	return s, nil
}

// listen makes the gRPC server, resolves who may call what, and opens the port.
func (s *Server) listen(o Options) error {
	config, err := serverTLS(s.folder.key)
	if err != nil {
		return err
	}
	g := &gate{core: s.core, log: o.Logger}
	s.gate = g
	s.grpc = grpc.NewServer(
		grpc.Creds(credentials.NewTLS(config)),
		grpc.ChainUnaryInterceptor(g.unary),
		grpc.ChainStreamInterceptor(g.stream),
		grpc.MaxRecvMsgSize(4<<20),
		grpc.MaxConcurrentStreams(128),
		grpc.ConnectionTimeout(20*time.Second),
		grpc.KeepaliveParams(keepalive.ServerParameters{Time: 2 * time.Minute, Timeout: 20 * time.Second}),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 30 * time.Second, PermitWithoutStream: true}),
	)
	s.register(o)
	if g.rules, err = resolveAccess(s.grpc.GetServiceInfo()); err != nil {
		return fmt.Errorf("who may call what: %w", err)
	}
	l, err := net.Listen("tcp", o.Listen)
	if err != nil {
		return fmt.Errorf("listen: %w", err)
	}
	s.listener = &listener{Listener: l, open: map[net.Conn]bool{}}
	return nil
}

func (s *Server) register(o Options) {
	base := &service{core: s.core, pager: newPager(s.folder.key.Seed()), stop: s.stopping}
	servicev1.RegisterJobsServer(s.grpc, &jobsServer{service: base})
	servicev1.RegisterComparisonsServer(s.grpc, &comparisonsServer{service: base})
	servicev1.RegisterCatalogServer(s.grpc, &catalogServer{service: base})
	servicev1.RegisterPeopleServer(s.grpc, &peopleServer{service: base})
	servicev1.RegisterBlobsServer(s.grpc, &blobsServer{service: base, uploadIdle: o.UploadIdle})
	servicev1.RegisterLedgerServer(s.grpc, &ledgerServer{service: base})
	servicev1.RegisterAdminServer(s.grpc, &adminServer{service: base, dir: filepath.Join(o.Dir, stagedFolder)})
	healthv1.RegisterHealthServer(s.grpc, s.health)
	reflection.Register(s.grpc)
}

// Addr is where the server listens, as HOST:PORT.
func (s *Server) Addr() string { return s.listener.Addr().String() }

// tidy removes expired uploads once an hour.
func (s *Server) tidy() {
	t := time.NewTicker(time.Hour)
	defer t.Stop()
	for {
		select {
		case <-t.C:
			if err := s.core.staged.expire(); err != nil {
				s.log.Error("remove expired uploads", "error", err)
			}
		case <-s.stopping:
			return
		}
	}
}

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
		s.core.close(ctx)
		if err := s.folder.engine.Close(); err != nil {
			s.stopErr = fmt.Errorf("close the store: %w", err)
		}
		s.log.Info("stopped")
	})
	<-s.finished
	return s.stopErr
}

// Serve runs a server until ctx ends, then stops it cleanly.
func Serve(ctx context.Context, o Options) error {
	s, err := Start(o)
	if err != nil {
		return err
	}
	select {
	case <-ctx.Done():
		return s.Stop()
	case err := <-s.served:
		return errors.Join(fmt.Errorf("serve: %w", err), s.Stop())
	}
}
