package main

import (
	"golang.org/x/term"

	"witnessmark/client"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
)

// loadDefinition reads a definition file.
func loadDefinition(path string) (*definition.Layout, error) {
	b, err := client.ReadBounded(path, client.MaxDocument)
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
	b, err := client.ReadBounded(path, client.MaxDocument)
	if err != nil {
		return nil, err
	}
	return limits.Load(path, b)
}

// loadImage reads an image file over a layout's range.
func loadImage(path, format string, lay *definition.Layout) (*image.Image, error) {
	f, err := formatOr(format)
	if err != nil {
		return nil, err
	}
	return client.ReadFile(path, f, lay)
}

// width is the terminal's columns; 0 where the output is no terminal.
func (a *app) width() int {
	if f, ok := a.out.(interface{ Fd() uintptr }); ok {
		if w, _, err := term.GetSize(int(f.Fd())); err == nil {
			return w
		}
	}
	return 0
}
