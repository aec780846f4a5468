package server

import (
	"context"
	"time"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

// Condition says how the server is. A note of the last backup that cannot be read is no backup: the next one mends it.
func (s *adminServer) Condition(context.Context, *servicev1.ConditionRequest) (*servicev1.ConditionResponse, error) {
	out := &servicev1.ConditionResponse{Version: s.version, Time: s.core.now().UTC().Format(time.RFC3339)}
	out.DiskSize, out.DiskFree = s.core.home.disk()
	last, elsewhere, err := s.core.home.lastBackup()
	if err != nil {
		s.core.log.Error("condition", loggable(err))
	}
	if out.BackupsElsewhere = elsewhere; err == nil && !last.IsZero() {
		out.LastBackup = last.UTC().Format(time.RFC3339)
	}
	return out, nil
}
