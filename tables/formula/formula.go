// Package formula reads expressions in CEL's grammar into trees of plain arithmetic. It knows no tables,
// units or ranges.
package formula

import "fmt"

// Kind is what a node of a formula does with its arguments.
type Kind uint8

// The first group gives numbers, the second one conditions. Clamp(v, low, high) is read as
// Min(Max(v, low), high).
const (
	Number Kind = iota
	Input
	Table
	Signal
	Add
	Sub
	Mul
	Div
	Neg
	Min
	Max
	Choose // condition, if it holds, if not

	Less
	LessEqual
	Greater
	GreaterEqual
	Equal
	NotEqual
	And
	Or
	Not
)

// Condition says whether the node is true or false, and no number.
func (k Kind) Condition() bool { return k >= Less }

// Node is a formula. Args are numbers but for those of And, Or and Not, and the first one of Choose.
type Node struct {
	Kind  Kind
	Value float64 // of a Number
	Name  string  // the quantity of an Input, the id of a Table or Signal
	Args  []*Node
	At    Place
}

// Place is where in the text something stands, both counted from 1; columns are characters.
type Place struct{ Line, Column int }

func (p Place) String() string { return fmt.Sprintf("%d:%d", p.Line, p.Column) }

// Error is one fault of a formula.
type Error struct {
	At      Place
	Problem string
	Allowed string // may be empty
}

func (e *Error) Error() string {
	text := fmt.Sprintf("%v: %s", e.At, e.Problem)
	if e.Allowed != "" {
		text += "; allowed: " + e.Allowed
	}
	return text
}

// Walk calls f with every node, each before its arguments, in the order of the text.
func (n *Node) Walk(f func(*Node) error) error {
	if err := f(n); err != nil {
		return err
	}
	for _, a := range n.Args {
		if err := a.Walk(f); err != nil {
			return err
		}
	}
	return nil
}
