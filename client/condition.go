package client

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

// Condition is how the server is, by its own word.
type Condition struct {
	Version string
	Time    time.Time // its clock
	// LastBackup is when a backup was finished last; zero where none was, or where backups are made elsewhere.
	LastBackup       time.Time
	BackupsElsewhere bool
	DiskSize         uint64 // bytes; 0 where that is not known
	DiskFree         uint64
}

// Condition asks the server how it is.
func (c *Client) Condition(ctx context.Context) (Condition, error) {
	var r *servicev1.ConditionResponse
	err := c.link.call(ctx, func(p *patient, of grpc.ClientConnInterface) (err error) {
		p.brief()
		r, err = servicev1.NewAdminClient(of).Condition(p, &servicev1.ConditionRequest{})
		if status.Code(err) == codes.Unimplemented {
			err = noWord()
		}
		return err
	})
	if reasonOf(err) == "no-rule" { // which is what a server says of a method that it has not
		err = noWord()
	}
	if err != nil {
		return Condition{}, err
	}
	out := Condition{Version: OneLine(r.GetVersion()), BackupsElsewhere: r.GetBackupsElsewhere(), DiskSize: r.GetDiskSize(), DiskFree: r.GetDiskFree()}
	if out.Time, err = time.Parse(time.RFC3339, r.GetTime()); err == nil && r.GetLastBackup() != "" {
		out.LastBackup, err = time.Parse(time.RFC3339, r.GetLastBackup())
	}
	if err != nil {
		return Condition{}, &Error{Kind: Failed, Text: "the server tells a time that is none", Err: err}
	}
	return out, nil
}

func noWord() error {
	return &Error{Kind: Refused, Text: "the server does not say how it is: it is older than this witnessmark", Try: "upgrade the server"}
}

const (
	backupEvery = 7 * 24 * time.Hour
	// mostApart is how far two clocks may be apart.
	mostApart = 2 * time.Minute
)

// BackupDue says in one line why somebody has to make a backup; empty where nobody has to.
func (c Condition) BackupDue() string {
	day := c.LastBackup.UTC().Format("2 Jan 2006")
	switch age := c.Time.Sub(c.LastBackup); {
	case c.BackupsElsewhere:
		return ""
	case c.LastBackup.IsZero():
		return "no backup of the ledger was ever finished"
	case age > backupEvery:
		return fmt.Sprintf("the last backup of the ledger is %d days old: it is of %s", age/(24*time.Hour), day)
	case age < -mostApart:
		return fmt.Sprintf("the last backup of the ledger is of %s, which is still to come: the server's clock was wrong then, or is now", day)
	}
	return ""
}
