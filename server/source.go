package server

import (
	"errors"
	"fmt"

	"google.golang.org/grpc/codes"

	"witnessmark/store"
	"witnessmark/store/record"
	"witnessmark/tables/image"
)

// source is what an action's claims are made from: what the ledger says, which is remembered, and
// bytes that are stored or came with the action.
type source struct {
	engine store.Engine
	a      *arrival
}

func (s *source) View(fn func(*record.State) error) error {
	return record.View(noted{s.engine, s.a.reads}, fn)
}

func (s *source) Blob(what string, sha image.Hash) (data []byte, err error) {
	if b := s.a.brought(string(sha)); b != nil {
		return b.read()
	}
	err = s.engine.View(func(tx store.ReadTx) error {
		data, err = store.GetBlob(store.Record(tx, s.a.reads), string(sha))
		return err
	})
	switch {
	case errors.Is(err, store.ErrDamaged):
		return nil, damagedBlob(what, string(sha))
	case err != nil:
		err = fmt.Errorf("%s: %w", what, err)
	}
	return data, err
}

// brought finds a blob that came with the action.
func (a *arrival) brought(sha string) *spooled {
	for _, b := range a.spooled {
		if b.sha == sha {
			return b
		}
	}
	return nil
}

// settled wants every blob that the action brings: one that was there, and therefore was not asked
// for, may have been erased while others came.
func (s *source) settled() error {
	return s.engine.View(func(tx store.ReadTx) error {
		gone, err := lacking(store.Record(tx, s.a.reads), s.a.signed.Action)
		for _, sha := range gone {
			if s.a.brought(sha) == nil {
				return &fault{code: codes.Aborted, reason: "busy", at: sha, text: "bytes that were here were erased meanwhile; try again"}
			}
		}
		return err
	})
}

// noted is an engine whose views are remembered.
type noted struct {
	store.Engine
	reads *store.Reads
}

func (n noted) View(fn func(store.ReadTx) error) error {
	return n.Engine.View(func(tx store.ReadTx) error { return fn(headless{store.Record(tx, n.reads), tx}) })
}

// headless remembers all but the document that says how far the ledger goes: every entry changes
// it, and no claim rests on it.
type headless struct {
	store.ReadTx
	plain store.ReadTx
}

func (h headless) Document(kind, key string) ([]byte, error) {
	if kind == record.HeadDocument {
		return h.plain.Document(kind, key)
	}
	return h.ReadTx.Document(kind, key)
}
