// Package imported turns what controllers are described by elsewhere into definitions and limits: descriptions in the
// open standard, and spreadsheets.
package imported

import (
	"cmp"
	"fmt"
	"path"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/a2l"
	"witnessmark/tables/image"
)

// Options of an import.
type Options struct {
	ByteOrder string        // big or little, where the description does not say it beyond doubt
	Extension int64         // objects of other address extensions are left out
	Only      []string      // patterns of names, as in path.Match; all objects if there is none
	Held      []image.Range // the addresses that an image file holds, which the definition covers where no segments are described
}

// Result is what an import made. Limits has no rules where the description declares nothing.
type Result struct {
	Definition *calibrationv1.Definition
	Limits     *calibrationv1.Limits
	Said       []Said
}

// Said is an object that was left out, or that was kept without something.
type Said struct {
	File   string `json:"file"`
	Line   int    `json:"line"` // 0 where it is about no line
	Object string `json:"object"`
	Kept   bool   `json:"kept"`
	Why    string `json:"why"`
}

func (s Said) String() string {
	at := s.File
	if s.Line > 0 {
		at += fmt.Sprintf(":%d", s.Line)
	}
	if s.Kept {
		return fmt.Sprintf("%s: %s: %s", at, s.Object, s.Why)
	}
	return fmt.Sprintf("%s: %s: left out: %s", at, s.Object, s.Why)
}

// LeftOut counts the objects that were.
func (r *Result) LeftOut() (n int) {
	for _, s := range r.Said {
		if !s.Kept {
			n++
		}
	}
	return n
}

// importer holds what the parts of an import share.
type importer struct {
	m   *a2l.Module
	o   Options
	out *Result

	order      string              // the definition's
	unsure     error               // a byte order that has to be asked for
	ids        map[string]string   // of each object that may become a table or an axis
	quantities map[string]string   // of each input
	means      map[meansKey]*means // conversions
	pts        map[string]*a2l.AxisPts
	objects    map[string]*a2l.Characteristic
	built      map[string]*built
	shared     map[sharedKey]*sharedAxis
	axisIDs    ids
	used       []image.Range // addresses of all objects
}

// built is what became of a characteristic; why says so where nothing did.
type built struct {
	table    *calibrationv1.Table
	why      error
	at       a2l.Place
	underWay bool
	limits   *declared
}

// A2L imports a module. The error is about the whole; what is wrong with an object is said of it.
func A2L(m *a2l.Module, o Options) (*Result, error) {
	im := &importer{m: m, o: o, built: map[string]*built{}, shared: map[sharedKey]*sharedAxis{}, means: map[meansKey]*means{}, axisIDs: ids{},
		out: &Result{Definition: &calibrationv1.Definition{Name: Name(m.Name), Title: oneLine(m.Title)}}}
	if err := o.patterns(); err != nil {
		return nil, err
	}
	im.index()
	for _, f := range m.Faults {
		if im.o.wanted(f.Name) {
			im.say(f.Place, f.Name, false, "%s", f.Why)
		}
	}
	if m.CalibrationOffset != 0 {
		im.say(m.Place, "ECU_CALIBRATION_OFFSET", true, "addresses are taken as written, though it is %d", m.CalibrationOffset)
	}
	im.order, _ = im.byteOrder(m.Place, "", 1)
	im.tables()
	if im.unsure != nil {
		return nil, im.unsure
	}
	im.out.Definition.ByteOrder = im.order
	im.folders()
	if err := im.image(); err != nil {
		return nil, err
	}
	if err := im.check(); err != nil {
		return nil, err
	}
	im.limits()
	slices.SortStableFunc(im.out.Said, func(a, b Said) int { return cmp.Or(strings.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line)) })
	return im.out, nil
}

func (im *importer) say(at a2l.Place, object string, kept bool, format string, args ...any) {
	im.out.Said = append(im.out.Said, Said{at.File, at.Line, object, kept, fmt.Sprintf(format, args...)})
}

// index gives every object its id, whether it is wanted or not, so that ids do not hang on what is.
func (im *importer) index() {
	tableIDs := ids{}
	im.ids, im.quantities = map[string]string{}, map[string]string{}
	im.pts, im.objects = map[string]*a2l.AxisPts{}, map[string]*a2l.Characteristic{}
	inputs := ids{}
	input := func(name string) {
		if im.quantities[name] == "" && name != "" && name != noInput {
			im.quantities[name] = inputs.of(name)
		}
	}
	for _, c := range im.m.Characteristics {
		im.objects[c.Name] = c
		im.ids[c.Name] = tableIDs.of(c.Name)
		for _, letter := range axisLetters[:len(c.Axes)] {
			im.axisIDs[im.ids[c.Name]+"."+letter] = true // what an axis in place is called
		}
		for _, a := range c.Axes {
			input(a.Input)
		}
	}
	for _, a := range im.m.AxisPts {
		im.pts[a.Name] = a
		input(a.Input)
	}
}

func (o *Options) wanted(name string) bool {
	for _, only := range o.Only {
		if ok, _ := path.Match(strings.ToLower(only), strings.ToLower(name)); ok {
			return true
		}
	}
	return len(o.Only) == 0
}

// patterns says which of them is none.
func (o *Options) patterns() error {
	for _, only := range o.Only {
		if _, err := path.Match(only, ""); err != nil {
			return fmt.Errorf("%.60q is not a pattern; allowed: names with * and ?", only)
		}
	}
	return nil
}

// tables builds all that is wanted, and then writes it in the order of the file.
func (im *importer) tables() {
	for _, c := range im.m.Characteristics {
		if im.o.wanted(c.Name) {
			im.build(c)
		}
	}
	for _, c := range im.m.Characteristics {
		switch b := im.built[c.Name]; {
		case b == nil:
		case b.why != nil:
			im.say(b.at, c.Name, false, "%v", b.why)
		default:
			im.out.Definition.Tables = append(im.out.Definition.Tables, b.table)
		}
	}
	for _, a := range im.m.AxisPts {
		if im.o.wanted(a.Name) {
			im.alone(a)
		}
	}
	im.sharedAxes()
}
