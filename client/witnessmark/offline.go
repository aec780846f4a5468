package main

import (
	"os"

	"golang.org/x/term"

	"witnessmark/client"
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
	f, err := formatOrDetect(format)
	if err != nil {
		return compare.Side{}, err
	}
	p, err := client.ReadFile(path, f, lay)
	if err != nil {
		return compare.Side{}, err
	}
	return p.Side(lay), nil
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
