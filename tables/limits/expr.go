package limits

import (
	"errors"
	"fmt"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/types"
)

// costLimit stops an expression that would run away; a call or an operator costs about one.
const costLimit = 100_000

// evaluator compiles expressions and lets them read tables. Not safe for concurrent use.
type evaluator struct {
	env  *cel.Env
	read func(base bool, id string) (*face, error) // nil face where the image lacks the table
	swap bool                                      // table() reads the base, to find the origin
	seen []string                                  // tables read by the evaluation under way
	odd  string                                    // the first one of them that gave no number
}

// errNoBase is an expression that asks for a base where there is none.
var errNoBase = errors.New("it reads the base, and there is none")

func newEvaluator(read func(base bool, id string) (*face, error)) (*evaluator, error) {
	e := &evaluator{read: read}
	opts := append(e.functions(),
		cel.Variable("job", cel.MapType(cel.StringType, cel.DoubleType)),
		cel.CrossTypeNumericComparisons(true),
		cel.ParserExpressionSizeLimit(10_000),
	)
	var err error
	e.env, err = cel.NewEnv(opts...)
	return e, err
}

// compile parses and checks types. The error has line and column, both from 1.
func (e *evaluator) compile(text string) (*cel.Ast, error) {
	ast, issues := e.env.Compile(text)
	if issues != nil && len(issues.Errors()) > 0 {
		first := issues.Errors()[0]
		return nil, fmt.Errorf("%d:%d: %s", first.Location.Line(), first.Location.Column()+1, first.Message)
	}
	if t := ast.OutputType(); t != cel.BoolType {
		return nil, fmt.Errorf("1:1: it gives %s; a rule gives true or false", t)
	}
	return ast, nil
}

// holds evaluates a compiled expression. What is not a number never passes.
func (e *evaluator) holds(ast *cel.Ast, job map[string]float64, swap bool) (bool, error) {
	e.swap, e.seen, e.odd = swap, nil, ""
	program, err := e.env.Program(ast, cel.CostLimit(costLimit))
	if err != nil {
		return false, err
	}
	if job == nil {
		job = map[string]float64{}
	}
	v, _, err := program.Eval(map[string]any{"job": job})
	if err != nil {
		return false, err
	}
	ok, isBool := v.(types.Bool)
	if !isBool {
		return false, fmt.Errorf("it gave %v, neither true nor false", v.Type())
	}
	return bool(ok) && e.odd == "", nil
}
