package server

import (
	"fmt"
	"testing"
	"time"

	"witnessmark/store/postgres/pgtest"
	"witnessmark/store/storetest"
)

// TestServersKilled kills one of two servers every second, at any moment or at a step of a commit.
func TestServersKilled(t *testing.T) {
	t.Parallel()
	var total siteTally
	hits := map[string]int{}
	sites(t, 2*time.Second, pgtest.URL, func(s *site) {
		time.Sleep(time.Second)
		i := s.r.IntN(2)
		at := s.servers[i].step
		if !s.kill(i) {
			at = ""
		}
		hits[at]++
		total.kills++
		s.servers[i].step = killSteps[s.r.IntN(len(killSteps))]
		s.start(i, fmt.Sprintf("%s=%s:%d", killAt, s.servers[i].step, 1+s.r.IntN(10)))
	}, &total)
	t.Logf("%d kills %v; %+v", total.kills, hits, total)
}

// TestDatabaseKilledUnderServers kills the database under both servers, which go on by themselves.
func TestDatabaseKilledUnderServers(t *testing.T) {
	t.Parallel()
	var total siteTally
	var cluster *pgtest.Cluster
	sites(t, time.Second, func(t testing.TB) string {
		cluster = alone(t)
		return cluster.URL()
	}, func(s *site) {
		cluster.Restart(t)
		total.kills++
		s.goesOn()
		time.Sleep(time.Duration(s.r.IntN(int(time.Second))))
	}, &total)
	t.Logf("%+v", total)
}

// sites has sites live, each at most ten seconds, with something that befalls them again and again.
func sites(t *testing.T, short time.Duration, url func(testing.TB) string, befalls func(*site), total *siteTally) {
	storetest.During(t, 0, func() {
		s := newSite(t, url(t))
		s.goesOn()
		for end := time.Now().Add(min(storetest.Long(t, short), 10*time.Second)); time.Now().Before(end) && !s.failed(); {
			befalls(s)
		}
		for i, one := range s.servers {
			if one.step != "" { // that may still come
				s.kill(i)
				s.start(i)
			}
		}
		s.goesOn()
		s.ends(total)
	})
}

// TestStandbyTakesOverUnderServers kills the primary under both servers, and its synchronous standby takes over.
func TestStandbyTakesOverUnderServers(t *testing.T) {
	t.Parallel()
	if storetest.Long(t, 0) == 0 {
		t.Skip("only where " + storetest.LongVariable + " says for how long; otherwise it is seen where waits are cancelled")
	}
	var total siteTally
	storetest.During(t, 0, func() {
		primary, standby := pair(t)
		s := newSite(t, primary.Or(standby))
		s.goesOn()
		primary.Kill()
		total.kills++
		standby.Promote(t)
		s.goesOn()
		s.ends(&total)
	})
	t.Logf("%+v", total)
}

// TestWaitsCancelledUnderServers has commits go on without their standby, which is away: their waits are cancelled, and in
// the end the standby takes over, or comes back. What it lacks when it takes over nobody was told of; with the engine's
// guard taken out the same test finds what is lost.
func TestWaitsCancelledUnderServers(t *testing.T) {
	t.Parallel()
	t.Run("guarded", func(t *testing.T) {
		t.Parallel()
		var total siteTally
		restarted := func(primary *pgtest.Cluster) {
			// What waits for the standby now is there when the primary is again, and was answered to nobody.
			primary.Restart(t)
			time.Sleep(300 * time.Millisecond) // for those who look to come and see
		}
		next := 0
		storetest.During(t, 0, func() {
			primary, standby, s := waitsCancelled(t)
			switch next++; next % 3 {
			case 0:
				takesOver(t, primary, standby)
			case 1:
				restarted(primary)
				takesOver(t, primary, standby)
			case 2:
				restarted(primary)
				standby.Start(t)
			}
			total.kills++
			s.goesOn()
			s.ends(&total)
		})
		t.Logf("%+v", total)
	})
	t.Run("control", func(t *testing.T) {
		t.Parallel()
		var total siteTally
		primary, standby, s := waitsCancelled(t, servedUnguarded+"=yes")
		takesOver(t, primary, standby)
		s.endsNow(&total)
		if len(s.wrong) == 0 {
			t.Error("without the guard nothing is lost: the test shows nothing")
		}
		t.Logf("found %d; %+v", len(s.wrong), total)
	})
}

// waitsCancelled is a site whose standby was killed, and whose waits for it were cancelled for a while.
func waitsCancelled(t *testing.T, env ...string) (primary, standby *pgtest.Cluster, s *site) {
	primary, standby = pair(t)
	s = newSite(t, primary.Or(standby), env...)
	s.goesOn()
	standby.Kill()
	before, cancelled := s.answered(), 0
	for end := time.Now().Add(time.Second); time.Now().Before(end) || cancelled < 20; time.Sleep(20 * time.Millisecond) {
		n := 0
		_, _ = fmt.Sscan(primary.CancelWaits(t), &n)
		cancelled += n
	}
	t.Logf("%d waits were cancelled; %d actions were answered meanwhile", cancelled, s.answered()-before)
	return primary, standby, s
}

func takesOver(t *testing.T, primary, standby *pgtest.Cluster) {
	primary.Kill()
	standby.Start(t)
	standby.Promote(t)
}
