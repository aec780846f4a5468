package client

import (
	"encoding/hex"
	"fmt"
	"time"

	"witnessmark/store"
	"witnessmark/store/ledger"
	"witnessmark/store/record"
)

// Head is the last checkpoint that was verified; it only advances.
type Head struct {
	Size uint64 `json:"size"`
	Root string `json:"root"`
	// Checkpoint is the signed note.
	Checkpoint string `json:"checkpoint"`
	// Documents is the sum over the copy's documents at that size, hex.
	Documents string `json:"documents"`
	// Contact is when the server was reached last.
	Contact time.Time `json:"contact"`
}

func headOf(c ledger.Checkpoint, note []byte, sum store.Sum) Head {
	return Head{Size: c.Size, Root: hex.EncodeToString(c.Root[:]), Checkpoint: string(note),
		Documents: hex.EncodeToString(sum[:]), Contact: time.Now().UTC().Round(time.Second)}
}

// seen refuses a ledger that had not, at so many entries, the root that somebody else has seen.
func (h Head) seen(s *record.State) error {
	if h.Size == 0 {
		return nil
	}
	if root := s.Root(h.Size); hex.EncodeToString(root[:]) == h.Root {
		return nil
	}
	return &Error{Kind: Distrust, Text: fmt.Sprintf("the server's ledger of %d entries is not the one whose head you were given, %d:%s", s.Size(), h.Size, h.Root),
		Try: "nothing was kept; ask the lead and whoever gave you the head which ledger is the workshop's"}
}

// head is the kept one; the zero Head before the first. It is held to the server's own signature,
// so that damage to the file is found.
func (o *ownCopy) head() (Head, error) {
	var h Head
	found, err := o.home.readJSON(headFile, &h)
	if err != nil || found {
		cp, openErr := o.open([]byte(h.Checkpoint))
		if err != nil || openErr != nil || cp.Size != h.Size || hex.EncodeToString(cp.Root[:]) != h.Root {
			return Head{}, &Error{Kind: Failed, Text: o.home.path(headFile) + " is damaged, or " + configFile + " beside it: what you have seen of the ledger is not known",
				Try: "move both away, log in again, and compare the head with a colleague's"}
		}
	}
	return h, nil
}

// open verifies a checkpoint with the key that the genesis names.
func (o *ownCopy) open(note []byte) (ledger.Checkpoint, error) {
	key, err := o.config.serverKey()
	if err != nil {
		return ledger.Checkpoint{}, err
	}
	return ledger.OpenCheckpoint(note, ledger.Origin(o.config.Genesis), key)
}

// advance writes a head unless a newer one is kept, of which only the contact changes then. The
// step lock must be held.
func (o *ownCopy) advance(next Head) error {
	last, err := o.head()
	if err != nil {
		return err
	}
	if next.Size < last.Size {
		last.Contact = next.Contact
		next = last
	}
	if next.Size == last.Size && next.Root != last.Root && last.Size > 0 {
		return distrust("the server shows another ledger than before: two roots for %d entries", next.Size)
	}
	return o.home.writeJSON(headFile, next)
}

// Head is the checkpoint that was verified last; the zero Head where none is kept whole.
func (c *Client) Head() Head {
	h, err := c.own.head()
	if err != nil {
		return Head{}
	}
	return h
}

// AsOf is when the server was reached last, and whether the last Sync of this client did: what is
// shown is as of then.
func (c *Client) AsOf() (t time.Time, reached bool) { return c.Head().Contact, c.reached.Load() }
