package signoff

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

const saltSize = 32

// Commitment is one sealed text of an action: which field holds it, what the action commits to, and
// where, such as job.details.plate or note.files[0].name.
type Commitment struct {
	Field, Commitment, At string
}

// NewOpening seals a text of a field: salt is where 32 random bytes are read from.
func NewOpening(field, text string, salt io.Reader) *recordv1.Opening {
	raw := make([]byte, saltSize)
	if _, err := io.ReadFull(salt, raw); err != nil {
		panic(fmt.Sprintf("no salt: %v", err)) // as crypto/rand does: a text sealed without it could be guessed
	}
	return &recordv1.Opening{Commitment: commit(field, raw, text), Field: field, Salt: hex.EncodeToString(raw), Text: text}
}

// CheckOpening says whether an opening's commitment is that of its field, salt and text: ErrOpening.
// No error holds the text.
func CheckOpening(o *recordv1.Opening) error {
	if o.GetField() == "" || strings.Trim(o.GetField(), "abcdefghijklmnopqrstuvwxyz_") != "" {
		return fmt.Errorf("opening of field %q, a field's name is allowed: %w", clip(o.GetField()), ErrOpening)
	}
	if !isHex32(o.GetSalt()) {
		return fmt.Errorf("opening of a %s: its salt is not 64 lower-case hex digits: %w", o.GetField(), ErrOpening)
	}
	salt, _ := hex.DecodeString(o.GetSalt())
	if commit(o.GetField(), salt, o.GetText()) != o.GetCommitment() {
		return fmt.Errorf("opening of a %s: it is not that of commitment %s: %w", o.GetField(), clip(o.GetCommitment()), ErrOpening)
	}
	return nil
}

// commit hashes the field's name, a zero byte, the salt and the text. A name has no zero byte and a
// salt has one length, so no two of them are hashed alike.
func commit(field string, salt []byte, text string) string {
	sum := sha256.Sum256([]byte(field + "\x00" + string(salt) + text))
	return hex.EncodeToString(sum[:])
}

// Commitments is every sealed text of an action, in the order of its message's fields. All are in its body.
func Commitments(a *recordv1.Action) []Commitment {
	m := a.ProtoReflect()
	body := m.WhichOneof(bodyOneof)
	if body == nil {
		return nil
	}
	return sealedIn(nil, string(body.Name()), m.Get(body).Message())
}

func sealedIn(found []Commitment, at string, m protoreflect.Message) []Commitment {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		if f.Message() == nil || f.IsMap() || !m.Has(f) {
			continue
		}
		name := at + "." + string(f.Name())
		if !f.IsList() {
			found = sealedAt(found, name, f, m.Get(f).Message())
			continue
		}
		for j, list := 0, m.Get(f).List(); j < list.Len(); j++ {
			found = sealedAt(found, fmt.Sprintf("%s[%d]", name, j), f, list.Get(j).Message())
		}
	}
	return found
}

func sealedAt(found []Commitment, at string, f protoreflect.FieldDescriptor, m protoreflect.Message) []Commitment {
	sealed, ok := m.Interface().(*recordv1.Sealed)
	switch {
	case !ok:
		return sealedIn(found, at, m)
	case sealed.GetCommitment() == "":
		return found
	}
	return append(found, Commitment{string(f.Name()), sealed.GetCommitment(), at})
}
