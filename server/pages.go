package server

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"sort"

	"google.golang.org/protobuf/proto"
)

// Page sizes of lists.
const (
	defaultPage = 100
	maxPage     = 1000
	// maxPageBytes keeps an answer below the 4 MiB that gRPC clients take unasked; one
	// element always comes.
	maxPageBytes = 2 << 20
)

// pager makes and reads page tokens. A token fixes the list, its filter, the tree size of
// the first page and the last key given; the mark on it shows that this ledger made it.
type pager struct{ secret []byte }

func newPager(seed []byte) *pager {
	m := hmac.New(sha256.New, seed)
	m.Write([]byte("witnessmark page token"))
	return &pager{m.Sum(nil)}
}

// cursor is where a list stands.
type cursor struct {
	size  uint64 // only what is in a tree of this size
	after string // keys greater than this; empty at the first page
}

func (p *pager) mark(list, filter string, body []byte) []byte {
	m := hmac.New(sha256.New, p.secret)
	fmt.Fprintf(m, "%q %q ", list, filter)
	m.Write(body)
	return m.Sum(nil)[:16]
}

func (p *pager) token(list, filter string, c cursor) string {
	body := append(binary.BigEndian.AppendUint64(nil, c.size), c.after...)
	return base64.RawURLEncoding.EncodeToString(append(p.mark(list, filter, body), body...))
}

// cursor reads a token; an empty one begins at the given tree size.
func (p *pager) cursor(list, filter, token string, size uint64) (cursor, error) {
	if token == "" {
		return cursor{size: size}, nil
	}
	bad := invalid("bad-page-token", "page_token", "the next_page_token of the same list with the same filter",
		"the page token is not one that this list gave with this filter")
	raw, err := base64.RawURLEncoding.Strict().DecodeString(token)
	if err != nil || len(raw) < 24 || !hmac.Equal(raw[:16], p.mark(list, filter, raw[16:])) {
		return cursor{}, bad
	}
	c := cursor{size: binary.BigEndian.Uint64(raw[16:]), after: string(raw[24:])}
	if c.size > size {
		return cursor{}, bad
	}
	return c, nil
}

// row is one element of a list: its sort key, and the entry that brought it in.
type row[T any] struct {
	key   string
	entry uint64
	value T
}

// page cuts the page that a token asks for out of rows.
func page[T any](p *pager, list, filter, token string, want uint32, size uint64, rows []row[T]) (out []T, next string, err error) {
	if want > maxPage {
		return nil, "", invalid("page-size", "page_size", fmt.Sprintf("0 to %d", maxPage), "page_size is %d; allowed are 0 to %d", want, maxPage)
	}
	if want == 0 {
		want = defaultPage
	}
	c, err := p.cursor(list, filter, token, size)
	if err != nil {
		return nil, "", err
	}
	sort.SliceStable(rows, func(i, j int) bool { return rows[i].key < rows[j].key })
	last, bytes := c.after, 0
	for _, r := range rows {
		if r.entry >= c.size || (token != "" && r.key <= c.after) {
			continue
		}
		if m, ok := any(r.value).(proto.Message); ok {
			bytes += proto.Size(m)
		}
		if uint32(len(out)) == want || (bytes > maxPageBytes && len(out) > 0) {
			return out, p.token(list, filter, cursor{size: c.size, after: last}), nil
		}
		out, last = append(out, r.value), r.key
	}
	return out, "", nil
}
