package limits

import (
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// kind is one kind of rule, in a file of its own, rule_NAME.go. What is nil it does not need.
type kind struct {
	name string // of its field in the message Rule

	// What is wrong with a rule: by itself, with a definition, and with each table that it selects.
	parse func(*ruleCheck) error
	once  func(*ruleCheck) error
	fits  func(*ruleCheck, *definition.Table) error

	judge    func(*subject) error                             // one table that it selects
	ofSignal func(*sounding) error                            // one signal that it selects; nil if it judges tables alone
	alone    func(*judge, *calibrationv1.Rule)                // in place of judge: once, whatever changed
	bounds   func(*bounding)                                  // of a kind that bounds each cell by itself: for Room
	other    func(*calibrationv1.Rule) *calibrationv1.Against // the table that it holds others against

	blocks              func(*calibrationv1.Rule) bool // it judges a block at once, not slice by slice; nil for never
	labels              bool                           // it judges tables of labels too
	where               bool                           // it can be confined to stretches
	every               bool                           // it judges every table that it selects, changed or not
	needsBase, needsRun bool                           // without one it says nothing
	axesAlone           func(*calibrationv1.Rule) bool
}

// kinds are all kinds of rule, in the order in which errors list them.
var kinds = []*kind{
	envelopeKind, rangeKind, changeKind, slopeKind, lumpKind, monotonicKind, frozenKind, belowKind, aboveKind, expressionKind, coversKind,
}

// kindOf is nil where a rule says nothing that is known.
func kindOf(r *calibrationv1.Rule) *kind {
	m := r.ProtoReflect()
	said := m.WhichOneof(m.Descriptor().Oneofs().ByName("kind"))
	if said == nil {
		return nil
	}
	for _, k := range kinds {
		if k.name == string(said.Name()) {
			return k
		}
	}
	return nil
}

// kindNames lists the kinds of which something holds, for an error.
func kindNames(holds func(*kind) bool) string {
	var names []string
	for _, k := range kinds {
		if holds(k) {
			names = append(names, k.name)
		}
	}
	return strings.Join(names, ", ")
}

// judgesValues says whether a rule has nothing to judge where no cell holds a value.
func (k *kind) judgesValues(r *calibrationv1.Rule) bool {
	return k != frozenKind && (k.axesAlone == nil || !k.axesAlone(r))
}

// against is the id of the table that a rule holds others against; empty for none.
func (k *kind) against(r *calibrationv1.Rule) string {
	if k.other == nil {
		return ""
	}
	return k.other(r).GetTable()
}
