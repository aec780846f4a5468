package imported

import (
	"fmt"
	"math"
	"math/big"

	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/a2l"
	"witnessmark/tables/units"
)

// means is what raw values mean by a method.
type means struct {
	conv   *calibrationv1.Conversion // nil where raw is physical
	codes  []int64                   // that are no value
	unit   string                    // as written
	fn     *quotient                 // of an affine or rational conversion; nil of others
	labels func(v float64) string    // of a verbal one
	left   string                    // what of the method is left away; empty for nothing
}

type meansKey struct {
	method string
	raw    raw
}

// meaning is what a method makes of a type of raw value.
func (im *importer) meaning(method string, r raw) (*means, error) {
	key := meansKey{method, r}
	if m := im.means[key]; m != nil {
		return m, nil
	}
	m := &means{fn: identity()}
	if method != "NO_COMPU_METHOD" {
		said := im.m.Methods[method]
		if said == nil {
			return nil, fmt.Errorf("there is no COMPU_METHOD %.100s", method)
		}
		m.unit = said.Unit
		if err := im.convert(m, said, r); err != nil {
			return nil, fmt.Errorf("COMPU_METHOD %.100s: %w", method, err)
		}
	}
	im.means[key] = m
	return m, nil
}

func (im *importer) convert(m *means, said *a2l.Method, r raw) (err error) {
	switch said.Type {
	case "LINEAR":
		if len(said.Coeffs) != 2 {
			return fmt.Errorf("LINEAR without COEFFS_LINEAR")
		}
		m.fn = straight(number(said.Coeffs[0]), number(said.Coeffs[1]))
	case "RAT_FUNC":
		if len(said.Coeffs) != 6 {
			return fmt.Errorf("RAT_FUNC without COEFFS")
		}
		m.fn, err = inverted(said.Coeffs)
	case "FORM":
		m.fn, err = formula(said.Formula)
	case "TAB_VERB", "TAB_INTP", "TAB_NOINTP":
		t := im.m.Tables[said.Table]
		if t == nil {
			return fmt.Errorf("there is no conversion table %.100s", said.Table)
		}
		if m.fn = nil; (t.Block == "COMPU_TAB") == (said.Type == "TAB_VERB") {
			return fmt.Errorf("%s refers to the %s %.100s", said.Type, t.Block, t.Name)
		}
		if said.Type == "TAB_VERB" {
			return m.verbal(t, r)
		}
		err = m.points(t, said.Type == "TAB_NOINTP", r)
	}
	if err != nil {
		return err
	}
	if m.fn != nil {
		if m.conv, err = m.fn.conversion(); err != nil {
			return err
		}
	}
	if said.Status != "" {
		m.status(im.m.Tables[said.Status], said.Status, r)
	}
	return nil
}

// inverted turns raw = (a P² + b P + c) / (d P² + e P + f) round, where P is physical.
func inverted(coeffs []string) (*quotient, error) {
	var c [6]*big.Rat
	for i := range c {
		c[i] = number(coeffs[i])
	}
	if c[0].Sign() != 0 || c[3].Sign() != 0 {
		return nil, fmt.Errorf("RAT_FUNC %v is quadratic, so that a raw value has two meanings", coeffs)
	}
	neg := func(v *big.Rat) *big.Rat { return new(big.Rat).Neg(v) }
	// raw (e P + f) = b P + c, so P = (c - f raw) / (e raw - b).
	q := &quotient{num: poly{c[2], neg(c[5])}, den: poly{neg(c[1]), c[4]}}
	return q, q.check()
}

// points are pairs of numbers.
func (m *means) points(t *a2l.Table, step bool, r raw) error {
	rows := sorted(t.Rows)
	p := &calibrationv1.PointTable{}
	missing, _ := a2l.Number(t.Default)
	for i, row := range rows {
		v, _ := a2l.Number(row.Means)
		if i > 0 && row.Low == rows[i-1].Low {
			if row.Means != rows[i-1].Means {
				return fmt.Errorf("COMPU_TAB %.100s has two values for raw %v", t.Name, row.Low)
			}
			continue
		}
		p.Raw, p.Physical = append(p.Raw, row.Low), append(p.Physical, v)
		// What stands between two rows has the value of those that are missing.
		if step && t.HasDefault && !r.float && i+1 < len(rows) && rows[i+1].Low > row.Low+1 {
			p.Raw, p.Physical = append(p.Raw, math.Floor(row.Low)+1), append(p.Physical, missing)
		}
	}
	if len(p.Raw) < 2 {
		return fmt.Errorf("COMPU_TAB %.100s has %d rows; allowed: two or more", t.Name, len(p.Raw))
	}
	if step {
		p.Between = "step"
	}
	if t.HasDefault {
		p.Outside = structpb.NewNumberValue(missing)
	}
	m.conv = &calibrationv1.Conversion{Points: p}
	return nil
}

// unitOf is a UCUM code, or the free text where none is known.
func unitOf(text string) (code, free string) {
	text = oneLine(text)
	if code, known := units.Spelled(text); known {
		return code, ""
	}
	if units.Known(text) == nil {
		return text, ""
	}
	return "", text
}
