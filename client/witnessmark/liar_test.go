package main

import (
	"context"
	"errors"
	"io"

	"github.com/rogpeppe/go-internal/testscript"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"witnessmark/client"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

// takenOver puts the person whose folder is used on a server that has the genuine key and lies:
// liar withhold|roll-back|swallow; liar again is the last one once more, liar none the genuine server.
func takenOver(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: liar withhold|roll-back|swallow|again|none")
	}
	home := ts.Getenv("WITNESSMARK_HOME")
	if to := map[string]string{"none": "ADDR", "again": "LIAR"}[args[0]]; to != "" {
		ts.Check(point(home, ts.Getenv(to)))
		return
	}
	config, err := (&client.Home{Dir: home}).Config()
	ts.Check(err)
	l, err := newLiar(context.Background(), ts.Getenv("ADDR"), ts.MkAbs("data/server.key"), config.Key, "")
	ts.Check(err)
	switch args[0] {
	case "withhold":
		l.lie.Store(int32(withhold))
		err = l.serve(l)
	case "roll-back":
		l.lie.Store(int32(rollBack))
		err = l.serve(l)
	case "swallow":
		l.lie.Store(int32(alter)) // of no blob
		err = l.serve(&swallower{liar: l})
	default:
		ts.Fatalf("no lie is called %q", args[0])
	}
	ts.Check(err)
	ts.Defer(l.stop)
	ts.Setenv("LIAR", l.addr)
	ts.Check(point(home, l.addr))
}

// away has the person's server be one that nobody answers for.
func away(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 0 {
		ts.Fatalf("usage: away")
	}
	ts.Check(point(ts.Getenv("WITNESSMARK_HOME"), "127.0.0.1:1"))
}

// swallower passes an action on, and is gone before the answer.
type swallower struct{ *liar }

// Admit never answers with the entry.
func (s *swallower) Admit(in grpc.BidiStreamingServer[servicev1.AdmitRequest, servicev1.AdmitResponse]) error {
	out, err := s.record().Admit(in.Context())
	if err != nil {
		return err
	}
	go func() {
		for {
			m, err := in.Recv()
			if errors.Is(err, io.EOF) {
				_ = out.CloseSend()
				return
			}
			if err != nil || out.Send(m) != nil {
				return
			}
		}
	}()
	for {
		m, err := out.Recv()
		if err != nil {
			return err
		}
		if m.GetAdmitted() != nil {
			return status.Error(codes.Unavailable, "gone")
		}
		if err := in.Send(m); err != nil {
			return err
		}
	}
}
