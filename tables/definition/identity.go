package definition

import (
	"encoding/hex"
	"errors"
	"fmt"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

func (c *compiler) identity() {
	seen := map[string]string{}
	for i, f := range c.d.GetIdentity() {
		path := fmt.Sprintf("identity[%d]", i)
		if c.wrong(c.at.ID(path, f.GetId(), seen)) {
			continue
		}
		if field, err := c.identityField(path, f); !c.wrong(err) {
			c.lay.Identity = append(c.lay.Identity, field)
		}
	}
}

func (c *compiler) identityField(path string, f *calibrationv1.IdentityField) (*IdentityField, error) {
	if f.GetLength() == 0 || f.GetLength() > maxText {
		return nil, c.at.Errorf(path+".length", fmt.Sprintf("1 to %d bytes", maxText), "%d bytes", f.GetLength())
	}
	r, err := c.inside(path, uint64(f.GetAddress()), uint64(f.GetAddress())+uint64(f.GetLength()))
	if err != nil {
		return nil, err
	}
	if err := c.oneOf(path+".encoding", f.GetEncoding(), "ascii", "hex"); err != nil {
		return nil, err
	}
	field := &IdentityField{ID: f.GetId(), Range: r, Hex: f.GetEncoding() == "hex", Vehicle: f.GetVehicle(), Private: f.GetPrivate()}
	if f.Expect != nil {
		field.Expect, err = c.expect(path+".expect", f, field)
	}
	return field, err
}

// expect brings an expected value into the form that Text gives, so that the two compare as they are.
func (c *compiler) expect(path string, f *calibrationv1.IdentityField, field *IdentityField) (*string, error) {
	want, n := f.GetExpect(), int(f.GetLength())
	if !field.Hex {
		if len(want) > n {
			return nil, c.at.Errorf(path, fmt.Sprintf("at most %d bytes, the field's length", n), "%d bytes of text", len(want))
		}
		text := Text([]byte(want), false)
		return &text, nil
	}
	b, err := hex.DecodeString(want)
	if err != nil || len(b) != n {
		return nil, c.at.Errorf(path, fmt.Sprintf("%d hex digits, two a byte, as in 0a1f", 2*n), "%.60q does not fit", want)
	}
	text := hex.EncodeToString(b)
	return &text, nil
}

// Text is a field of an image as text: ASCII as it stands with trailing NULs and spaces
// removed and anything unprintable escaped, or lower-case hex. An image that ends before
// the field gives an empty text.
func (f *IdentityField) Text(image []byte) string {
	if f.Range.End > uint64(len(image)) || f.Range.Start > f.Range.End {
		return ""
	}
	b := image[f.Range.Start:f.Range.End]
	if f.Hex {
		return hex.EncodeToString(b)
	}
	return Text(b, false)
}

// Identify asks whether an image of the layout's space says that it is what
// the definition is for. The error names every field that differs from its expect; a private
// field's content is not in it.
func (l *Layout) Identify(image []byte) error {
	if uint64(len(image)) != l.Size {
		return fmt.Errorf("the image has %d bytes; allowed: %d, the size that definition %s states", len(image), l.Size, l.Name)
	}
	var wrong []error
	for _, f := range l.Identity {
		if f.Expect == nil || f.Text(image) == *f.Expect {
			continue
		}
		if f.Private {
			wrong = append(wrong, fmt.Errorf("identity %s is not what definition %s expects (private, not printed)", f.ID, l.Name))
			continue
		}
		wrong = append(wrong, fmt.Errorf("identity %s is %q; definition %s expects %q", f.ID, f.Text(image), l.Name, *f.Expect))
	}
	return errors.Join(wrong...)
}
