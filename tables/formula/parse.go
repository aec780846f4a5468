package formula

import (
	"fmt"
	"strings"
	"unicode"

	"cel.dev/cel-go/common"
	"cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/operators"
	"cel.dev/cel-go/common/types"
	"cel.dev/cel-go/parser"
)

// Bounds of one formula: characters, nodes, and how deep it nests.
const (
	maxText  = 10_000
	maxNodes = 1_000
	maxDepth = 250
)

var bounds = fmt.Sprintf("%d characters, %d numbers, names and operators, %d of them within each other", maxText, maxNodes, maxDepth)

const allowed = "numbers, + - * /, comparisons, && || !, ? :, min, max, clamp(v, low, high), input('quantity'), signal('id'), table('id')"

// operations are what CEL's grammar calls the operators. Comparisons take numbers only.
var operations = map[string]Kind{
	operators.Add: Add, operators.Subtract: Sub, operators.Multiply: Mul, operators.Divide: Div, operators.Negate: Neg,
	operators.Conditional: Choose,
	operators.Less:        Less, operators.LessEquals: LessEqual, operators.Greater: Greater, operators.GreaterEquals: GreaterEqual,
	operators.Equals: Equal, operators.NotEquals: NotEqual,
	operators.LogicalAnd: And, operators.LogicalOr: Or, operators.LogicalNot: Not,
}

var references = map[string]Kind{"input": Input, "signal": Signal, "table": Table}

// Parse reads a formula that gives a number. Every error is an *Error, for the first fault in the text.
func Parse(text string) (*Node, error) {
	p, err := parser.NewParser(parser.MaxRecursionDepth(maxDepth), parser.ExpressionSizeCodePointLimit(maxText), parser.ErrorReportingLimit(1))
	if err != nil {
		return nil, err
	}
	source := common.NewTextSource(text)
	tree, errs := p.Parse(source)
	if all := errs.GetErrors(); len(all) > 0 {
		return nil, syntax(all[0])
	}
	r := &reader{info: tree.SourceInfo(), text: []rune(text)}
	return r.number(tree.Expr())
}

// syntax is the grammar's complaint, of which only the first line is for people.
func syntax(e *common.Error) error {
	problem, _, _ := strings.Cut(e.Message, "\n")
	problem, _, _ = strings.Cut(problem, " expecting ")
	problem = strings.ReplaceAll(strings.TrimPrefix(problem, "Syntax error: "), "'<EOF>'", "end")
	allowed := allowed
	if strings.Contains(problem, "recursion") || strings.Contains(problem, "size") {
		allowed = bounds
	}
	at := Place{max(e.Location.Line(), 1), max(e.Location.Column()+1, 1)}
	return &Error{At: at, Problem: problem, Allowed: allowed}
}

type reader struct {
	info  *ast.SourceInfo
	text  []rune
	nodes int
}

// at is where a name or number begins, and where an operator stands. CEL places a call at its parenthesis.
func (r *reader) at(e ast.Expr) Place {
	where, _ := r.info.GetOffsetRange(e.ID())
	start := int(where.Start)
	if e.Kind() == ast.CallKind && start < len(r.text) && r.text[start] == '(' {
		for start > 0 && unicode.IsSpace(r.text[start-1]) {
			start--
		}
		start = max(start-len(e.AsCall().FunctionName()), 0)
	}
	location := r.info.GetLocationByOffset(int32(start))
	return Place{location.Line(), location.Column() + 1}
}

func (r *reader) refuse(e ast.Expr, format string, args ...any) error {
	return &Error{At: r.at(e), Problem: fmt.Sprintf(format, args...), Allowed: allowed}
}

// number reads a node that gives a number.
func (r *reader) number(e ast.Expr) (*Node, error) {
	n, err := r.read(e)
	if err == nil && n.Kind.Condition() {
		err = &Error{At: n.At, Problem: "a condition stands where a number is wanted", Allowed: "condition ? number : number"}
	}
	return n, err
}

func (r *reader) condition(e ast.Expr) (*Node, error) {
	n, err := r.read(e)
	if err == nil && !n.Kind.Condition() {
		err = &Error{At: n.At, Problem: "a number stands where a condition is wanted", Allowed: "a comparison, as in input('engine_speed') > 3000"}
	}
	return n, err
}

func (r *reader) read(e ast.Expr) (*Node, error) {
	if r.nodes++; r.nodes > maxNodes {
		return nil, &Error{At: r.at(e), Problem: "the expression is too large", Allowed: bounds}
	}
	switch e.Kind() {
	case ast.LiteralKind:
		return r.literal(e)
	case ast.CallKind:
		return r.call(e, e.AsCall())
	case ast.IdentKind:
		return nil, r.refuse(e, "%.60q is no number", e.AsIdent())
	}
	return nil, r.refuse(e, "this is no arithmetic")
}

func (r *reader) literal(e ast.Expr) (*Node, error) {
	switch v := e.AsLiteral().(type) {
	case types.Int:
		return &Node{Kind: Number, Value: float64(v), At: r.at(e)}, nil
	case types.Double:
		return &Node{Kind: Number, Value: float64(v), At: r.at(e)}, nil
	case types.String:
		return nil, r.refuse(e, "a text stands where a number is wanted")
	}
	return nil, r.refuse(e, "this is no number")
}

func (r *reader) call(e ast.Expr, c ast.CallExpr) (*Node, error) {
	name, args := c.FunctionName(), c.Args()
	if c.IsMemberFunction() {
		return nil, r.refuse(e, "%.60q is called on something", name)
	}
	if kind, known := references[name]; known {
		return r.reference(e, kind, name, args)
	}
	if kind, known := operations[name]; known {
		return r.operation(e, kind, args)
	}
	switch name {
	case "min":
		return r.several(e, Min, name, 2, args)
	case "max":
		return r.several(e, Max, name, 2, args)
	case "clamp":
		n, err := r.several(e, Max, name, 3, args)
		if err != nil || len(args) > 3 {
			return nil, either(err, r.refuse(e, "clamp takes 3 numbers, not %d", len(args)))
		}
		high := n.Args[2]
		n.Args = n.Args[:2]
		return &Node{Kind: Min, Args: []*Node{n, high}, At: n.At}, nil
	}
	return nil, r.refuse(e, "%.60q is not known", strings.Trim(name, "_@"))
}

func either(err, other error) error {
	if err != nil {
		return err
	}
	return other
}

// reference is the naming of something; it stands where its name does.
func (r *reader) reference(e ast.Expr, kind Kind, name string, args []ast.Expr) (*Node, error) {
	if len(args) == 1 && args[0].Kind() == ast.LiteralKind {
		if id, ok := args[0].AsLiteral().(types.String); ok {
			return &Node{Kind: kind, Name: string(id), At: r.at(args[0])}, nil
		}
	}
	return nil, r.refuse(e, "%s takes one name in quotes", name)
}

// operation is an operator, whose number of arguments the grammar has seen to.
func (r *reader) operation(e ast.Expr, kind Kind, args []ast.Expr) (*Node, error) {
	n := &Node{Kind: kind, At: r.at(e)}
	for i, a := range args {
		read := r.number
		if kind == And || kind == Or || kind == Not || kind == Choose && i == 0 {
			read = r.condition
		}
		arg, err := read(a)
		if err != nil {
			return nil, err
		}
		n.Args = append(n.Args, arg)
	}
	if kind == Neg && n.Args[0].Kind == Number {
		return &Node{Kind: Number, Value: -n.Args[0].Value, At: n.At}, nil
	}
	return n, nil
}

// several is a call with at least so many numbers.
func (r *reader) several(e ast.Expr, kind Kind, name string, least int, args []ast.Expr) (*Node, error) {
	if len(args) < least {
		return nil, r.refuse(e, "%s takes %d numbers or more, not %d", name, least, len(args))
	}
	return r.operation(e, kind, args)
}
