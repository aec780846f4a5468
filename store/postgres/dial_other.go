//go:build !linux

package postgres

import "syscall"

func limitUnacknowledged(string, string, syscall.RawConn) error { return nil }
