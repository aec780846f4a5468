package imported

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/a2l"
)

// dependents makes rules of the formulas by which numbers hang on others, as far as an expression says the same.
func (im *importer) dependents(out *calibrationv1.Limits, kept map[string]*calibrationv1.Table) {
	for _, c := range im.m.Characteristics {
		b := im.built[c.Name]
		if c.Dependent == nil || b == nil || b.why != nil || kept[b.table.GetId()] == nil {
			continue
		}
		text, err := im.expression(c, b.table, kept)
		if err != nil {
			im.say(c.Place, c.Name, true, "that it is %.100q of %.200s is not judged: %v", c.Dependent.Text, strings.Join(c.Dependent.Of, ", "), err)
			continue
		}
		id := "depends." + b.table.GetId()
		out.Rules = append(out.Rules, &calibrationv1.Rule{Id: id[:min(len(id), 100)], Severity: level, Select: &calibrationv1.Select{Tables: []string{b.table.GetId()}}, Declared: true,
			Reason: oneLine(fmt.Sprintf("The definition's author declared it to be %.200s of %.300s.", c.Dependent.Text, strings.Join(c.Dependent.Of, ", "))),
			Source: source, Kind: &calibrationv1.Rule_Expression{Expression: text}})
	}
}

// expression says that a number is what its formula gives, to half a raw step.
func (im *importer) expression(c *a2l.Characteristic, t *calibrationv1.Table, kept map[string]*calibrationv1.Table) (string, error) {
	own, err := scalarOf(t, t.GetId())
	if err != nil {
		return "", err
	}
	if strings.HasPrefix(t.GetStored().GetType(), "f") || t.GetConversion().GetRational() != nil || t.GetConversion().GetPoints() != nil {
		return "", fmt.Errorf("it has no even raw step; allowed: integers with a factor")
	}
	var of []string
	for _, name := range c.Dependent.Of {
		b := im.built[name]
		if b == nil || b.why != nil || kept[b.table.GetId()] == nil {
			return "", fmt.Errorf("%.100s is not imported", name)
		}
		value, err := scalarOf(b.table, name)
		if err != nil {
			return "", err
		}
		of = append(of, value)
	}
	f, err := written(c.Dependent.Text, of)
	if err != nil {
		return "", err
	}
	step := 1.0
	if t.GetConversion().GetFactor() != 0 {
		step = math.Abs(t.GetConversion().GetFactor())
	}
	half := decimal(step * 0.5001) // rounding makes no finding
	return fmt.Sprintf("%s - (%s) <= %s && (%s) - %s <= %s", own, f, half, f, own, half), nil
}

func scalarOf(t *calibrationv1.Table, name string) (string, error) {
	if t.GetX() != nil || len(t.GetAxes()) > 0 || t.GetKind() != "" || len(t.GetConversion().GetLabels()) > 0 {
		return "", fmt.Errorf("%.100s is no single number", name)
	}
	return fmt.Sprintf("table('%s').value()", t.GetId()), nil
}

// written is a formula of numbers, + - * /, parentheses and X1, X2, … with the values of those.
func written(text string, of []string) (string, error) {
	if len(text) > maxFormula {
		return "", fmt.Errorf("the formula is longer than %d bytes", maxFormula)
	}
	var out strings.Builder
	for _, w := range formulaWords(text) {
		switch n, err := strconv.Atoi(strings.TrimPrefix(strings.ToUpper(w), "X")); {
		case strings.Contains("+-*/()", w):
			out.WriteString(w)
		case w[0]|0x20 == 'x' && err == nil && n >= 1 && n <= len(of):
			out.WriteString(of[n-1])
		default:
			v, ok := a2l.Number(w)
			if !ok {
				return "", fmt.Errorf("%.40q is not understood", w)
			}
			out.WriteString(decimal(v))
		}
	}
	return out.String(), nil
}

// decimal is a number that an expression takes for one with a point.
func decimal(v float64) string {
	s := strconv.FormatFloat(v, 'g', -1, 64)
	if !strings.ContainsAny(s, ".e") {
		s += ".0"
	}
	return s
}
