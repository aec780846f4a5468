package definition

import (
	"sync"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/image"
	"witnessmark/tables/yamldoc"
)

// Load parses and compiles a definition file; name is what errors call it. Every error names file,
// line, field and what is allowed.
func Load(name string, file []byte) (*Layout, error) {
	d := &calibrationv1.Definition{}
	at, err := yamldoc.Decode(name, file, d)
	if err != nil {
		return nil, err
	}
	return strict(compile(at, file, d))
}

// Examine is Load that goes on after a fault, and tells all by line: of each part of each axis, table and so
// on the first, and nothing that only follows from another. The layout lacks what is at fault; it is nil
// where the file's own parts cannot be told.
func Examine(name string, file []byte) (*Layout, []error) {
	d := &calibrationv1.Definition{}
	at, faults := yamldoc.DecodeAll(name, file, d)
	read := map[string]bool{} // elements at fault already
	for _, err := range faults {
		where := yamldoc.Element(err)
		part := d.ProtoReflect().Descriptor().Fields().ByTextName(where)
		if read[where] = true; at == nil || part != nil && part.Message() != nil { // a whole list, or the image's range
			return nil, faults
		}
	}
	lay, more := compile(at, file, d)
	for _, err := range more {
		if !read[yamldoc.Element(err)] {
			faults = append(faults, err)
		}
	}
	return lay, yamldoc.InOrder(faults)
}

// Compile checks the meaning and lays the definition out. The file is needed for its hash
// and its lines. Errors are as Load's, for the first fault in the order of the file's parts.
func Compile(name string, file []byte, d *calibrationv1.Definition) (*Layout, error) {
	return strict(compile(yamldoc.Locate(name, file), file, d))
}

// strict is a layout without a fault, or the first one.
func strict(lay *Layout, faults []error) (*Layout, error) {
	if len(faults) > 0 {
		return nil, faults[0]
	}
	return lay, nil
}

func compile(at *yamldoc.Locator, file []byte, d *calibrationv1.Definition) (*Layout, []error) {
	hash := string(image.HashOf(file))
	lay, faults := compileOnce(at, hash, d, false)
	if len(faults) > 0 {
		return compileOnce(at, hash, d, true)
	}
	return lay, nil
}

// compileOnce tells faults with their places if asked to: to have those at hand takes longer than all the rest.
func compileOnce(at *yamldoc.Locator, hash string, d *calibrationv1.Definition, telling bool) (*Layout, []error) {
	c := &compiler{at: at, d: d, lay: &Layout{
		Source: d, Name: d.GetName(), SHA256: hash,
		ByID: make(map[string]*Table, len(d.GetTables())), SignalByID: map[string]*Signal{},
	}, lost: map[string]bool{}, telling: telling}
	if !telling {
		c.at = nil
	}
	if c.head(); c.lay.Size == 0 { // no place could be told right or wrong
		return nil, c.faults
	}
	for _, part := range []func(){
		c.segments, c.identity, c.sharedAxes, c.tables, c.curves, c.mirrors, c.inputs, c.signals, c.checksums, c.volatile, c.overlaps,
		c.folders, c.carried,
	} {
		part()
	}
	lay := c.lay
	lay.index = sync.OnceValue(func() *Index { return newIndex(lay) })
	return lay, c.faults
}
