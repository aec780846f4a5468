package main

import (
	"fmt"
	"os"

	"golang.org/x/term"

	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
)

// loadDefinition reads a definition file.
func loadDefinition(path string) (*definition.Layout, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return definition.Load(path, b)
}

// loadLimits reads a limits file; no path is no limits.
func loadLimits(path string) (*limits.Limits, error) {
	if path == "" {
		return nil, nil
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return limits.Load(path, b)
}

// loadSide reads an image file over a layout's range.
func loadSide(path, format string, lay *definition.Layout) (compare.Side, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return compare.Side{}, err
	}
	f, err := formatOrDetect(format)
	if err != nil {
		return compare.Side{}, err
	}
	im, err := image.Decode(path, b, f, lay.Start)
	if err != nil {
		return compare.Side{}, err
	}
	if im.Format == image.Raw && uint64(len(b)) != lay.Size {
		return compare.Side{}, fmt.Errorf("%s: a raw image of %d bytes; definition %s says %d", path, len(b), lay.Name, lay.Size)
	}
	flat, _, gaps, err := im.Flat(path, lay.Start, lay.Size)
	if err != nil {
		return compare.Side{}, err
	}
	side := compare.Side{Bytes: flat}
	for _, g := range gaps {
		side.Gaps = append(side.Gaps, definition.Range{Start: g[0] - lay.Start, End: g[1] - lay.Start})
	}
	return side, nil
}

// width is the terminal's columns; 0 where the output is no terminal.
func (a *app) width() int {
	if f, ok := a.out.(*os.File); ok {
		if w, _, err := term.GetSize(int(f.Fd())); err == nil {
			return w
		}
	}
	return 0
}

// formatOrDetect reads a format flag; left out, the kind of file is detected by content.
func formatOrDetect(flag string) (image.Format, error) {
	if flag == "" {
		return "", nil
	}
	return image.ParseFormat(flag)
}
