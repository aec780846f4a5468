package server

import (
	"testing"

	"witnessmark/store/postgres/pgtest"
	"witnessmark/store/storetest"
)

// TestHistoriesOfServers: whichever of two servers somebody asks, and whatever becomes of them and their database
// meanwhile, all is answered as if one had been asked for one thing after the other.
func TestHistoriesOfServers(t *testing.T) {
	inDatabase := func(t *testing.T, url string) *house {
		p := newFolderPlace(t)
		p.Database = url
		return newHouse(t, p, 2)
	}
	t.Run("a server is killed", func(t *testing.T) {
		testHistories(t, func(t *testing.T) (*house, func(int)) {
			h := inDatabase(t, pgtest.URL(t))
			return h, h.killOne
		})
	})
	if storetest.Long(t, 0) == 0 {
		t.Log("the database is killed only where " + storetest.LongVariable + " says for how long")
		return
	}
	t.Run("the database is killed", func(t *testing.T) {
		testHistories(t, func(t *testing.T) (*house, func(int)) {
			c := alone(t)
			return inDatabase(t, c.URL()), func(int) { c.Restart(t) }
		})
	})
	t.Run("the standby takes over", func(t *testing.T) {
		testHistories(t, func(t *testing.T) (*house, func(int)) {
			primary, standby := pair(t)
			h := inDatabase(t, primary.Or(standby))
			return h, func(nth int) {
				if nth != 2 {
					h.killOne(nth)
					return
				}
				primary.Kill()
				standby.Promote(t)
			}
		})
	})
}
