package server

import (
	"errors"
	"fmt"

	"witnessmark/store"
)

// Bounds of what people send. An image is at most 16 MiB in practice; runs are text.
const (
	maxBlob     = 64 << 20 // bytes of one upload
	maxStaged   = 1 << 30  // bytes of all uploads that wait for their action
	maxDocument = 8 << 20  // bytes of a definition or limits file: they are parsed on the spot
	maxInline   = 3 << 20  // bytes of a file inside one answer; larger ones are downloaded
	maxEnvelope = 1 << 20  // bytes of one signed action
	chunkSize   = 256 << 10
)

// blob finds bytes by SHA-256: committed ones first, then those uploaded and waiting for
// the action that names them. An upload may stand in for committed bytes that are damaged.
func (c *core) blob(sha string) ([]byte, error) {
	data, err := c.stored(sha)
	if err == nil || !absent(err) {
		return data, err
	}
	data, waiting := c.staged.read(sha)
	if waiting == nil {
		return data, nil
	}
	if !errors.Is(waiting, store.ErrNotFound) {
		return nil, waiting
	}
	// It may have been committed, and its upload removed, between the two looks.
	return c.stored(sha)
}

// absent says whether bytes are not there, or not whole.
func absent(err error) bool {
	return errors.Is(err, store.ErrNotFound) || errors.Is(err, store.ErrDamaged)
}

// stored finds committed bytes; ErrNotFound is wrapped. The hash is checked by the store.
func (c *core) stored(sha string) ([]byte, error) {
	var data []byte
	err := c.engine.View(func(tx store.ReadTx) error {
		b, err := store.GetBlob(tx, sha)
		if err != nil {
			return fmt.Errorf("blob %s: %w", short(sha), err)
		}
		data = b
		return nil
	})
	return data, err
}

// has says whether a blob is committed, and whole: putting it again mends one that is not.
func (c *core) has(sha string) (bool, error) {
	_, err := c.stored(sha)
	if absent(err) {
		return false, nil
	}
	return err == nil, err
}

// need is blob with a refusal in place of ErrNotFound: the action names bytes that are not here.
func (c *core) need(at, sha string) ([]byte, error) {
	data, err := c.blob(sha)
	if errors.Is(err, store.ErrNotFound) {
		return nil, refused("no-blob", at, "upload the bytes before the action that names them",
			"%s: no bytes with SHA-256 %s were uploaded, or they expired after a day", at, short(sha))
	}
	return data, err
}

func short(sha string) string {
	if len(sha) > 12 {
		return sha[:12] + "…"
	}
	return sha
}

func isSHA256(s string) bool {
	if len(s) != 64 {
		return false
	}
	for _, c := range s {
		if (c < '0' || c > '9') && (c < 'a' || c > 'f') {
			return false
		}
	}
	return true
}

// putBlob packs bytes against their base and checks that they are what the action named.
func putBlob(tx store.WriteTx, b namedBlob) error {
	sha, err := store.PutBlob(tx, b.data, b.base)
	if err != nil {
		return err
	}
	if sha != b.sha {
		return fmt.Errorf("the bytes have SHA-256 %s", sha)
	}
	return nil
}
