// Package demo holds the demo data: see README.md in this folder.
package demo

import "embed"

// Files are the definition, the limits and the images of the demo, by name.
//
//go:embed dx1-1.8t.yaml dx1-road-98.yaml original.bin original.hex original.s19 submission-1.bin submission-2.bin readback.bin
var Files embed.FS
