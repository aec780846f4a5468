package client

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/connectivity"
	"google.golang.org/grpc/status"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

var errStranger = errors.New("the server knows no such key")

// patient is the context of a call that may take long as long as something moves.
type patient struct {
	context.Context
	search *search
	timer  *time.Timer
}

// moved begins the wait anew.
func (p *patient) moved() { p.timer.Reset(p.search.silence) }

// brief is for what takes no time: where there are servers left, they are asked sooner.
func (p *patient) brief() {
	if len(p.search.left) > 0 {
		p.timer.Reset(p.search.brief)
	}
}

// endless is for what comes when it comes.
func (p *patient) endless() { p.timer.Stop() }

// call makes a call on the server that is in use, and where that does not answer on the next, until none is left
// to ask: it may be made more than once, from the beginning. Its error is one line and a kind.
func (l *link) call(ctx context.Context, do func(*patient, grpc.ClientConnInterface) error) error {
	l.mu.Lock()
	left := slices.Clone(l.roads)
	if i := slices.Index(left, l.at); i > 0 {
		left[0], left[i] = left[i], left[0]
	}
	l.mu.Unlock()
	return l.callOn(ctx, left, do)
}

func (l *link) callOn(ctx context.Context, left []*road, do func(*patient, grpc.ClientConnInterface) error) error {
	s := &search{link: l, left: left}
	for len(s.left) > 0 {
		r, err := s.reach(ctx)
		switch {
		case err != nil:
			return err
		case r == nil:
			continue
		}
		silent, err := s.try(ctx, r, do)
		if !silent {
			return err
		}
	}
	return s.away()
}

// search is the way of one call along the roads.
type search struct {
	*link
	left   []*road // to be asked
	lost   []loss  // those that did not answer
	broken int     // how often a call was broken off
	// stranger is whether a server ended the handshake because it does not know the person's key.
	stranger bool
}

// loss is a road without an answer, and why.
type loss struct {
	*road
	why string
}

// reach connects to those that are left, each after a head start of the one before it, and takes the first that is
// connected off the list, and those that failed. It is nil where none is left; a key that is not the server's is an
// error, whatever the others show.
func (s *search) reach(ctx context.Context) (*road, error) {
	within, cancel := context.WithCancel(ctx)
	defer cancel()
	type end struct {
		*road
		ready bool
	}
	ended := make(chan end, len(s.left))
	begun := slices.Clone(s.left)
	for next, running := 0, 0; next < len(begun) || running > 0; {
		var more <-chan time.Time
		if next < len(begun) {
			r := begun[next]
			if next > 0 && running > 0 {
				s.told(r.addr + " is tried beside it: there is no connection after " + s.headStart.String())
			}
			go func() { ended <- end{r, r.ready(within)} }()
			next, running, more = next+1, running+1, time.After(s.headStart)
		}
		select {
		case e := <-ended:
			if running--; e.ready {
				s.take(e.road)
				s.use(e.road)
				return e.road, nil
			}
			if err := s.lose(ctx, e.road); err != nil {
				return nil, err
			}
		case <-more:
		}
	}
	return nil, nil
}

// ready waits for a connection, and says whether there is one. Where the last attempt failed, which may be a while
// ago, another one is made, and waited for briefly.
func (r *road) ready(ctx context.Context) bool {
	if r.conn.GetState() == connectivity.TransientFailure {
		brief, cancel := context.WithTimeout(ctx, headStart)
		defer cancel()
		r.conn.ResetConnectBackoff()
		r.conn.WaitForStateChange(brief, connectivity.TransientFailure)
	}
	for {
		r.conn.Connect()
		switch now := r.conn.GetState(); {
		case now == connectivity.Ready:
			return true
		case now == connectivity.TransientFailure, now == connectivity.Shutdown, !r.conn.WaitForStateChange(ctx, now):
			return false
		}
	}
}

// try makes the call on one road; silent says that no answer came.
func (s *search) try(ctx context.Context, r *road, do func(*patient, grpc.ClientConnInterface) error) (silent bool, err error) {
	within, cancel := context.WithCancel(ctx)
	defer cancel()
	p := &patient{within, s, time.AfterFunc(s.silence, cancel)}
	err = do(p, r.conn)
	p.timer.Stop()
	switch {
	case err == nil || ctx.Err() != nil:
		return false, faultOf(err)
	case within.Err() != nil:
		s.note(r, "no answer")
	case status.Code(err) == codes.Unavailable:
		if bad := s.refusal(r); bad != nil {
			return false, bad
		}
		s.note(r, answerOf(err).Message())
		s.again(r)
	default:
		return false, faultOf(err)
	}
	return true, nil
}

// again has those asked once more that did not answer before another broke off: where servers are started anew, one
// after the other, they are back by then.
func (s *search) again(broken *road) {
	if s.broken++; s.broken > len(s.roads) {
		return
	}
	for _, l := range s.lost {
		if l.road != broken {
			s.left = append(s.left, l.road)
		}
	}
	s.lost = slices.DeleteFunc(s.lost, func(l loss) bool { return l.road != broken })
}

func (s *search) take(r *road) {
	s.left = slices.DeleteFunc(s.left, func(o *road) bool { return o == r })
}

// use has the next call begin with a road.
func (l *link) use(r *road) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.at != r {
		l.at = r
		l.told(r.addr + " answers")
		l.used(r.addr)
	}
}

// lose takes a road off the list that there is no connection on.
func (s *search) lose(ctx context.Context, r *road) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if bad := s.refusal(r); bad != nil {
		return bad
	}
	s.take(r)
	// A call on it fails at once, and says why.
	ctx, cancel := context.WithTimeout(ctx, headStart)
	defer cancel()
	err := r.conn.Invoke(ctx, servicev1.Record_Head_FullMethodName, &servicev1.HeadRequest{}, &servicev1.HeadResponse{})
	s.note(r, status.Convert(err).Message())
	return nil
}

// note keeps why a road did not answer, without what gRPC says around it.
func (s *search) note(r *road, why string) {
	s.stranger = s.stranger || strings.Contains(why, "remote error: tls: bad certificate")
	if _, inner, ok := strings.Cut(why, `desc = "`); ok {
		why = strings.TrimSuffix(inner, `"`)
	}
	why = strings.TrimPrefix(why, "transport: Error while dialing: ")
	s.lost = append(s.lost, loss{r, why})
	s.told(r.addr + " does not answer: " + why)
}

// away is the error where nobody answered.
func (s *search) away() error {
	if s.stranger {
		return &Error{Kind: Refused, Err: fmt.Errorf("%w: %s was never enrolled there", errStranger, s.me), Try: tryEnrol}
	}
	var at []string
	for _, l := range s.lost {
		at = append(at, l.addr+" ("+l.why+")")
	}
	return &Error{Kind: Away, Text: "the server cannot be reached at " + strings.Join(at, ", nor at ")}
}
