package store

import (
	"errors"
	"fmt"
)

// GetBlob reads and unpacks a blob, and checks its hash. Its errors are ErrNotFound, ErrInvalid
// (the name is no hash) and ErrDamaged.
func GetBlob(tx ReadTx, sha string) ([]byte, error) {
	packed, err := tx.Blob(sha)
	if err != nil {
		return nil, fmt.Errorf("blob %.80s: %w", sha, err)
	}
	data, err := Unpack(packed, func(baseSHA string) ([]byte, error) { return wholeBlob(tx, baseSHA) })
	if err != nil {
		return nil, fmt.Errorf("blob %s: %w: %w", sha, ErrDamaged, err)
	}
	if hashName(data) != sha {
		return nil, fmt.Errorf("blob %s: its bytes hash to %s: %w", sha, hashName(data), ErrDamaged)
	}
	return data, nil
}

// wholeBlob reads a blob that others stand on: one that stands on none itself.
func wholeBlob(tx ReadTx, sha string) ([]byte, error) {
	packed, err := tx.Blob(sha)
	if errors.Is(err, ErrNotFound) {
		// Not ErrNotFound: the blob that was asked for is there, and cannot be had.
		return nil, fmt.Errorf("it is missing: %w", ErrPacked)
	}
	if err != nil {
		return nil, err
	}
	return Unpack(packed, func(string) ([]byte, error) {
		return nil, fmt.Errorf("it is a difference itself, only one step is allowed: %w", ErrPacked)
	})
}

// PutBlob packs a blob under its hash, as a difference from baseSHA where that is smaller; baseSHA
// may be empty. A base that is a difference itself, or that cannot be read, is passed over or
// replaced by what it stands on, so that one step always suffices. A blob that is there and whole
// stays as it is.
func PutBlob(tx WriteTx, data []byte, baseSHA string) (sha string, err error) {
	if len(data) > MaxBlob {
		return "", fmt.Errorf("blob of %d bytes, at most %d are allowed: %w", len(data), MaxBlob, ErrTooLarge)
	}
	sha = hashName(data)
	switch _, err := GetBlob(tx, sha); {
	case err == nil:
		return sha, nil
	case errors.Is(err, ErrDamaged):
		// Others may stand on the damaged one: only a whole one mends them too.
		baseSHA = ""
	case !errors.Is(err, ErrNotFound):
		return "", err
	}
	base, baseSHA, err := findBase(tx, baseSHA)
	if err != nil {
		return "", err
	}
	if baseSHA == sha {
		baseSHA = ""
	}
	if err := tx.PutBlob(sha, Pack(data, base, baseSHA)); err != nil {
		return "", fmt.Errorf("blob %s: %w", sha, err)
	}
	return sha, nil
}

// findBase reads the base to pack against: the one named, or the one that it stands on.
func findBase(tx ReadTx, baseSHA string) (base []byte, sha string, err error) {
	if baseSHA == "" {
		return nil, "", nil
	}
	packed, err := tx.Blob(baseSHA)
	if errors.Is(err, ErrNotFound) {
		return nil, "", nil
	}
	if err != nil {
		return nil, "", fmt.Errorf("base %.80s: %w", baseSHA, err)
	}
	u, err := parsePacked(packed)
	if err != nil {
		return nil, "", nil
	}
	if u.base != "" {
		baseSHA = u.base
	}
	base, err = wholeBlob(tx, baseSHA)
	if err != nil || hashName(base) != baseSHA {
		// Smaller is a wish; whole is a duty.
		return nil, "", nil
	}
	return base, baseSHA, nil
}
