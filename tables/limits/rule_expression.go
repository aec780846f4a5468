package limits

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"cel.dev/cel-go/cel"
	celast "cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/types"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

var expressionKind = &kind{name: "expression", parse: (*ruleCheck).expression, once: (*ruleCheck).expressionFits, alone: (*judge).expression, labels: true}

func (c *ruleCheck) expression() error {
	if strings.TrimSpace(c.rule.GetExpression()) == "" {
		return c.bad("expression", "a CEL expression that is true where all is well", "the expression is empty")
	}
	return nil
}

// expressionFits says whether the expression compiles and names tables that the layout has, with the
// line and the column within it.
func (c *ruleCheck) expressionFits() error {
	if c.exprs == nil {
		var err error
		if c.exprs, err = newEvaluator(nil); err != nil {
			return err
		}
	}
	ast, err := c.exprs.compile(c.rule.GetExpression())
	if err == nil {
		err = namesTables(ast, c.lay)
	}
	if err != nil {
		return c.bad("expression", "table(id) and base(id) with min(), max(), at(x), at(x, y) with a number for each axis, value(), x_min(), x_max(), y_min(), y_max(), and job.NAME", "expression at %v", err)
	}
	return nil
}

// expression runs one rule; every one runs, whatever changed.
func (j *judge) expression(r *calibrationv1.Rule) {
	table, more := j.aboutTables(r)
	if j.exprs == nil {
		var err error
		if j.exprs, err = newEvaluator(j.readFace); err != nil {
			j.ruleError(r, table, err)
			return
		}
	}
	e := j.exprs
	ast, err := e.compile(r.GetExpression())
	ok := false
	if err == nil {
		ok, err = e.holds(ast, j.in.Job.GetNumbers(), false)
	}
	switch {
	case errors.Is(err, errNoBase) && j.in.Check || errors.As(err, new(errUnjudged)):
		j.out.Unjudged = append(j.out.Unjudged, &calibrationv1.Unjudged{Rule: r.GetId(), Table: table, Reason: err.Error()})
		return
	case err != nil:
		j.ruleError(r, table, err)
		return
	}
	for _, id := range e.seen {
		j.lookedAt(r, id)
	}
	if ok {
		return
	}
	f := &calibrationv1.Finding{
		Rule: r.GetId(), Severity: r.GetSeverity(), Table: table, Tables: more, Count: 1,
		Reason: r.GetReason(), Source: r.GetSource(), Detail: "false: " + r.GetExpression(),
	}
	if e.odd != "" {
		f.Detail = fmt.Sprintf("table %s holds what is no number: %s", e.odd, r.GetExpression())
	}
	if !j.in.Check {
		f.Origin = j.originOf(ast)
	}
	j.out.Findings = append(j.out.Findings, f)
}

// originOf evaluates a failed expression once more with table() reading the base. One that uses
// the job's numbers is never inherited: they are of the car as it is now, not as the base knew it.
func (j *judge) originOf(ast *cel.Ast) string {
	for _, r := range ast.NativeRep().ReferenceMap() {
		if r.Name == "job" {
			return originNames[introduced]
		}
	}
	if was, err := j.exprs.holds(ast, j.in.Job.GetNumbers(), true); err == nil && !was {
		return originNames[inherited]
	}
	return originNames[introduced]
}

// aboutTables are the tables that an expression names in its selection: one as the finding's own,
// several beside it.
func (j *judge) aboutTables(r *calibrationv1.Rule) (string, []string) {
	ids := r.GetSelect().GetTables()
	if len(ids) == 1 {
		return ids[0], nil
	}
	return "", slices.Clone(ids)
}

// readFace reads a table in its own units.
func (j *judge) readFace(base bool, id string) (*face, error) {
	of := ofCandidate
	if base {
		of = ofBase
	}
	if base && j.in.Check {
		return nil, errNoBase
	}
	t := j.lay.ByID[id]
	if t == nil {
		t = j.in.Layout.ByID[id]
	}
	if t == nil {
		return nil, fmt.Errorf("the definition has no table %q", id)
	}
	if err := j.known(id); err != nil {
		return nil, err
	}
	return j.face(of, id, t)
}

// namesTables looks at the calls whose table is written out, and at how many axes they want.
func namesTables(ast *cel.Ast, lay *definition.Layout) error {
	native := ast.NativeRep()
	var bad error
	fail := func(e celast.Expr, format string, args ...any) {
		if bad == nil {
			at := native.SourceInfo().GetStartLocation(e.ID())
			bad = fmt.Errorf("%d:%d: %s", at.Line(), at.Column()+1, fmt.Sprintf(format, args...))
		}
	}
	celast.PostOrderVisit(native.Expr(), celast.NewExprVisitor(func(e celast.Expr) {
		if e.Kind() != celast.CallKind {
			return
		}
		if id, ok := tableCall(e); ok {
			if lay.ByID[id] == nil {
				fail(e, "the definition has no table %q", id)
			}
			return
		}
		c := e.AsCall()
		if !c.IsMemberFunction() {
			return
		}
		id, ok := tableCall(c.Target())
		if t := lay.ByID[id]; ok && t != nil {
			if err := fits(t, c.FunctionName(), len(c.Args())); err != nil {
				fail(e, "%v", err)
			}
		}
	}))
	return bad
}

// tableCall is the id in table('id') or base('id').
func tableCall(e celast.Expr) (string, bool) {
	if e.Kind() != celast.CallKind {
		return "", false
	}
	c := e.AsCall()
	if n := c.FunctionName(); c.IsMemberFunction() || n != "table" && n != "base" || len(c.Args()) != 1 {
		return "", false
	}
	if c.Args()[0].Kind() != celast.LiteralKind {
		return "", false
	}
	id, ok := c.Args()[0].AsLiteral().(types.String)
	return string(id), ok
}
