package definition

import (
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
	return compile(at, file, d)
}

// Compile checks the meaning and lays the definition out. The file is needed for its hash
// and its lines. Errors are as Load's, for the first fault in the order of the file's parts.
func Compile(name string, file []byte, d *calibrationv1.Definition) (*Layout, error) {
	return compile(yamldoc.Locate(name, file), file, d)
}

func compile(at *yamldoc.Locator, file []byte, d *calibrationv1.Definition) (*Layout, error) {
	c := &compiler{at: at, d: d, lay: &Layout{
		Source: d, Name: d.GetName(), SHA256: string(image.HashOf(file)),
		ByID: map[string]*Table{}, SignalByID: map[string]*Signal{},
	}}
	for _, part := range []func() error{
		c.head, c.segments, c.identity, c.sharedAxes, c.tables, c.mirrors, c.inputs, c.signals, c.checksums, c.volatile, c.overlaps,
	} {
		if err := part(); err != nil {
			return nil, err
		}
	}
	return c.lay, nil
}
