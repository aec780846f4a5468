package record

import (
	"errors"
	"testing"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// TestRoomForCorridors: the tables of all corridors of a job count, closed ones too.
func TestRoomForCorridors(t *testing.T) {
	of := func(n int) *recordv1.OpenCorridor {
		return &recordv1.OpenCorridor{Tables: make([]*recordv1.CorridorTable, n)}
	}
	j := &recordv1.Job{Corridors: []*recordv1.Corridor{{Asked: of(maxCorridor), State: closed}, {Asked: of(maxCorridor - 1), State: closed}}}
	if err := checkRoom(j, of(1)); err != nil {
		t.Errorf("as many as there may be: %v", err)
	}
	var no *Refusal
	if err := checkRoom(j, of(2)); !errors.As(err, &no) || no.Reason != ReasonBadValue || no.At != "corridor.tables" {
		t.Errorf("one more: %v", err)
	}
}
