package definition

import calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"

// Load parses and compiles a definition file; name is what errors call it.
func Load(name string, file []byte) (*Layout, error) {
	d, err := Parse(name, file)
	if err != nil {
		return nil, err
	}
	return Compile(name, file, d)
}

// Parse reads strict YAML. Every error names file, line, field and what is allowed.
func Parse(name string, file []byte) (*calibrationv1.Definition, error) { panic("contract only") }

// Compile checks the meaning and lays the definition out. The file is needed for its hash and its lines.
func Compile(name string, file []byte, d *calibrationv1.Definition) (*Layout, error) {
	panic("contract only")
}

// IdentityText is a field of an image as text: ASCII as it stands with trailing NULs and
// spaces removed and anything unprintable escaped, or lower-case hex.
func (f *IdentityField) Text(image []byte) string { panic("contract only") }
