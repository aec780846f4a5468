package store

import (
	"errors"
	"fmt"
	"maps"
	"slices"
)

// EraseBlobs deletes blobs. Whatever stands on one of them is packed anew first: whole, or on the
// first that was. What cannot be read stays as it is and is damaged as before. The engine's files
// hold the deleted bytes until Compact. Its errors are ErrInvalid and the engine's.
func EraseBlobs(tx WriteTx, shas []string) error {
	standing := map[string][]string{} // by base, ascending
	for _, sha := range shas {
		standing[sha] = nil
	}
	err := tx.Blobs(func(sha string, packed []byte) (bool, error) {
		u, err := parsePacked(packed)
		_, erased := standing[sha]
		if under, ok := standing[u.base]; ok && !erased && err == nil {
			standing[u.base] = append(under, sha)
		}
		return true, nil
	})
	if err != nil {
		return fmt.Errorf("erase: %w", err)
	}
	for _, sha := range slices.Sorted(maps.Keys(standing)) {
		if err := packAnew(tx, standing[sha]); err != nil {
			return fmt.Errorf("erase %.80s: %w", sha, err)
		}
	}
	for sha := range standing {
		if err := tx.DeleteBlob(sha); err != nil {
			return fmt.Errorf("erase: %w", err)
		}
	}
	return nil
}

// packAnew packs blobs that stood on one base without it. They are differences, so nothing stands
// on them, and the first, once it is whole, may carry the others.
func packAnew(tx WriteTx, shas []string) error {
	var base []byte
	baseSHA := ""
	for _, sha := range shas {
		data, err := GetBlob(tx, sha)
		if errors.Is(err, ErrDamaged) {
			continue
		}
		if err != nil {
			return err
		}
		if err := tx.PutBlob(sha, Pack(data, base, baseSHA)); err != nil {
			return err
		}
		if baseSHA == "" {
			base, baseSHA = data, sha
		}
	}
	return nil
}
