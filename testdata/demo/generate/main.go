// Command generate writes the demo data, byte for byte the same on every machine:
//
//	go run ./testdata/demo/generate [FOLDER]
//
// FOLDER is testdata/demo if left out. It holds the definition, dx1-1.8t.yaml, which a person
// wrote; every table and axis of it is filled by a formula of engine.go.
package main

import (
	"fmt"
	"os"
	"path/filepath"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

func main() {
	folder := filepath.Join("testdata", "demo")
	if len(os.Args) > 1 {
		folder = os.Args[1]
	}
	if err := generate(folder); err != nil {
		fmt.Fprintln(os.Stderr, "generate:", err)
		os.Exit(2)
	}
}

func generate(folder string) error {
	path := filepath.Join(folder, "dx1-1.8t.yaml")
	file, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	lay, err := definition.Load(path, file)
	if err != nil {
		return err
	}
	files, err := build(lay)
	if err != nil {
		return err
	}
	for name, data := range files {
		if err := os.WriteFile(filepath.Join(folder, name), data, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// build makes every file of the demo that is not written by hand.
func build(lay *definition.Layout) (map[string][]byte, error) {
	original, err := newMemory(lay)
	if err != nil {
		return nil, err
	}
	original.stamp()
	first, err := original.edited(firstSubmission)
	if err != nil {
		return nil, fmt.Errorf("submission 1: %w", err)
	}
	second, err := original.edited(secondSubmission)
	if err != nil {
		return nil, fmt.Errorf("submission 2: %w", err)
	}
	files := map[string][]byte{
		"original.bin":     original.bytes,
		"submission-1.bin": first.bytes,
		"submission-2.bin": second.bytes,
		"readback.bin":     second.driven().bytes,
	}
	whole := image.FromFlat(original.bytes, lay.Start, [][2]uint64{{lay.Start, lay.Start + lay.Size}})
	for name, format := range map[string]image.Format{"original.hex": image.IHex, "original.s19": image.SRec} {
		if files[name], err = whole.Encode(format); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
	}
	return files, nil
}
