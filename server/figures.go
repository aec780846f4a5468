package server

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/stats"
)

// figures are what a server tells about itself in Prometheus' form: numbers, methods, codes and
// reasons, and nothing that anybody wrote.
type figures struct {
	registry   *prometheus.Registry
	calls      *prometheus.CounterVec
	took       *prometheus.HistogramVec
	refusals   *prometheus.CounterVec
	away       *prometheus.CounterVec
	commit     prometheus.Histogram
	sync       prometheus.Histogram
	entries    prometheus.Counter
	waiting    prometheus.Gauge
	writes     prometheus.Gauge
	bytesMoved *prometheus.CounterVec
}

func newFigures() *figures {
	counter := func(name, help string, labels ...string) *prometheus.CounterVec {
		return prometheus.NewCounterVec(prometheus.CounterOpts{Namespace: "witnessmark", Name: name, Help: help}, labels)
	}
	histogram := func(name, help string) prometheus.HistogramOpts {
		return prometheus.HistogramOpts{Namespace: "witnessmark", Name: name, Help: help, Buckets: prometheus.ExponentialBuckets(0.0005, 4, 9)} // to 33 s
	}
	gauge := func(name, help string) prometheus.Gauge {
		return prometheus.NewGauge(prometheus.GaugeOpts{Namespace: "witnessmark", Name: name, Help: help})
	}
	f := &figures{
		registry:   prometheus.NewRegistry(),
		calls:      counter("calls_total", "calls by method and how they ended", "method", "code"),
		took:       prometheus.NewHistogramVec(histogram("call_seconds", "how long calls took"), []string{"method"}),
		refusals:   counter("refusals_total", "calls that were refused, by reason", "reason"),
		away:       counter("handshakes_refused_total", "connections that ended in their handshake, by reason", "reason"),
		commit:     prometheus.NewHistogram(histogram("commit_seconds", "transactions of the store, its sync included")),
		sync:       prometheus.NewHistogram(histogram("checkpoint_sync_seconds", "writing and syncing the checkpoint's own file")),
		entries:    prometheus.NewCounter(prometheus.CounterOpts{Namespace: "witnessmark", Name: "entries_admitted_total", Help: "entries that were admitted since the start"}),
		waiting:    gauge("actions_waiting", "actions that wait for the committer"),
		writes:     gauge("writable", "1 while actions can be admitted, else 0"),
		bytesMoved: counter("bytes_total", "bytes of messages, by direction", "direction"),
	}
	f.writes.Set(1)
	f.registry.MustRegister(f.calls, f.took, f.refusals, f.away, f.commit, f.sync, f.entries, f.waiting, f.writes, f.bytesMoved,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return f
}

// follow adds what is read when somebody asks.
func (f *figures) follow(name, help string, value func() float64) {
	f.registry.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{Namespace: "witnessmark", Name: name, Help: help}, value))
}

// call counts one that ended; reason is empty where it was not refused.
func (f *figures) call(method string, code codes.Code, reason string, took time.Duration) {
	f.calls.WithLabelValues(method, code.String()).Inc()
	f.took.WithLabelValues(method).Observe(took.Seconds())
	if reason != "" {
		f.refused(reason)
	}
}

func (f *figures) refused(reason string) { f.refusals.WithLabelValues(reason).Inc() }

// turnedAway counts a connection that ended in its handshake.
func (f *figures) turnedAway(err error) {
	reason := "handshake"
	switch {
	case errors.Is(err, errNoKey):
		reason = "no-key"
	case errors.Is(err, errStranger):
		reason = "not-enrolled"
	case errors.Is(err, errTooManyConnections), errors.Is(err, errTooOften):
		reason = "too-many"
	}
	f.away.WithLabelValues(reason).Inc()
}

// HandleRPC counts bytes.
func (f *figures) HandleRPC(_ context.Context, s stats.RPCStats) {
	switch s := s.(type) {
	case *stats.InPayload:
		f.bytesMoved.WithLabelValues("in").Add(float64(s.WireLength))
	case *stats.OutPayload:
		f.bytesMoved.WithLabelValues("out").Add(float64(s.WireLength))
	}
}

func (f *figures) TagRPC(ctx context.Context, _ *stats.RPCTagInfo) context.Context   { return ctx }
func (f *figures) TagConn(ctx context.Context, _ *stats.ConnTagInfo) context.Context { return ctx }
func (f *figures) HandleConn(context.Context, stats.ConnStats)                       {}

// listen serves the figures over HTTP, to this machine alone: they have no lock of their own.
func (f *figures) listen(addr string) (*http.Server, net.Listener, error) {
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return nil, nil, fmt.Errorf("metrics: %w", err)
	}
	if ip, err := netip.ParseAddr(host); err != nil || !ip.IsLoopback() {
		return nil, nil, fmt.Errorf("metrics: %q is not a loopback address; allowed are 127.0.0.1:PORT and [::1]:PORT", addr)
	}
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return nil, nil, fmt.Errorf("metrics: %w", err)
	}
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(f.registry, promhttp.HandlerOpts{MaxRequestsInFlight: 4}))
	return &http.Server{Handler: mux, ReadTimeout: 10 * time.Second, WriteTimeout: 30 * time.Second, MaxHeaderBytes: maxHeaders}, l, nil
}
