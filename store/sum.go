package store

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"math/bits"
)

// Sum tells whether documents are what was written: the sum, modulo 2^256 and with the highest byte
// first, of a SHA-256 of each document. Adding and removing need nothing but the document itself.
type Sum [sha256.Size]byte

// Add is the sum with one document more.
func (s Sum) Add(kind, key string, value []byte) Sum { return s.plus(hashDocument(kind, key, value)) }

// Remove is the sum with one document less.
func (s Sum) Remove(kind, key string, value []byte) Sum {
	// Minus h is its complement plus one.
	h := hashDocument(kind, key, value)
	for i := range h {
		h[i] = ^h[i]
	}
	return s.plus(h).plus(Sum{sha256.Size - 1: 1})
}

func (s Sum) plus(h Sum) Sum {
	var carry uint64
	for i := len(s) - 8; i >= 0; i -= 8 {
		var word uint64
		word, carry = bits.Add64(binary.BigEndian.Uint64(s[i:]), binary.BigEndian.Uint64(h[i:]), carry)
		binary.BigEndian.PutUint64(s[i:], word)
	}
	return s
}

// hashDocument hashes each part behind its length, so that no two documents are hashed as one.
func hashDocument(kind, key string, value []byte) Sum {
	b := make([]byte, 0, 2048) // of a fixed size, so that most need no memory but the stack's
	b = append(binary.BigEndian.AppendUint64(b, uint64(len(kind))), kind...)
	b = append(binary.BigEndian.AppendUint64(b, uint64(len(key))), key...)
	b = append(binary.BigEndian.AppendUint64(b, uint64(len(value))), value...)
	return sha256.Sum256(b)
}

// SumWith is what an engine keeps as the sum when it puts a document, in place of one or not.
func SumWith(tx ReadTx, kind, key string, value []byte) (Sum, error) {
	sum, err := SumWithout(tx, kind, key)
	return sum.Add(kind, key, value), err
}

// SumWithout is what an engine keeps as the sum when it deletes a document, there or not.
func SumWithout(tx ReadTx, kind, key string) (Sum, error) {
	value, err := tx.Document(kind, key)
	if errors.Is(err, ErrNotFound) {
		return tx.Sum()
	}
	if err != nil {
		return Sum{}, err
	}
	sum, err := tx.Sum()
	return sum.Remove(kind, key, value), err
}

// CheckSum reads every document and is ErrDamaged where they are not those that the sum was kept
// over. Each is asked for by its name too: damage on the way to it may hide it there alone.
func CheckSum(tx ReadTx) error {
	kept, err := tx.Sum()
	if err != nil {
		return fmt.Errorf("check documents: %w", err)
	}
	var found Sum
	err = tx.Documents(func(kind, key string, value []byte) (bool, error) {
		named, err := tx.Document(kind, key)
		if err != nil {
			return false, fmt.Errorf("%w: a %q is found by a scan alone", ErrDamaged, kind)
		}
		if !bytes.Equal(named, value) {
			return false, fmt.Errorf("%w: a %q is there twice", ErrDamaged, kind) // its key may be what nobody is told
		}
		found = found.Add(kind, key, value)
		return true, nil
	})
	if err == nil && found != kept {
		err = fmt.Errorf("%w: their sum is %x, it was %x", ErrDamaged, found[:8], kept[:8])
	}
	if err != nil {
		return fmt.Errorf("check documents: %w", err)
	}
	return nil
}
