// Package demo makes the files of the demo in memory, byte for byte the same on every machine;
// testdata/demo has them as files, and its README says what each is.
package demo

import (
	_ "embed"
	"fmt"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// Written by hand; every table and axis of the definition is filled by a formula of engine.go.
var (
	//go:embed dx1-1.8t.yaml
	definitionFile []byte
	//go:embed dx1-road-98.yaml
	limitsFile []byte
)

//go:generate go test -run ^TestFilesAreCommitted$ -write

// Files are the files of the demo by name: a definition and its limits, the image as found in three
// kinds of file, two submissions, a read-back, and a run on the rolling road before and after.
func Files() (map[string][]byte, error) {
	lay, err := definition.Load("dx1-1.8t.yaml", definitionFile)
	if err != nil {
		return nil, err
	}
	found, err := newMemory(lay)
	if err != nil {
		return nil, err
	}
	found.stamp()
	first, err := found.edited(firstSubmission)
	if err != nil {
		return nil, fmt.Errorf("submission 1: %w", err)
	}
	second, err := found.edited(secondSubmission)
	if err != nil {
		return nil, fmt.Errorf("submission 2: %w", err)
	}
	files := map[string][]byte{
		"dx1-1.8t.yaml":    definitionFile,
		"dx1-road-98.yaml": limitsFile,
		"submission-1.bin": first.bytes,
		"submission-2.bin": second.bytes,
		"readback.bin":     second.driven().bytes,
	}
	for name, in := range map[string]*memory{"before.csv": found, "after.csv": second} {
		if files[name], err = in.pull(); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
	}
	whole := lay.Space.Whole(found.bytes)
	for name, format := range map[string]image.Format{"asfound.bin": image.Raw, "asfound.hex": image.IHex, "asfound.s19": image.SRec} {
		if files[name], err = whole.Encode(format); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
	}
	return files, nil
}
