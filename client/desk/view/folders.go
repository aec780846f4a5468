package view

import (
	"cmp"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// Folder is changed tables that belong together.
type Folder struct {
	Name   string // empty where the definition has no folders
	Tables []*calibrationv1.TableReport
}

// Folders are the changed tables by the folder of the definition that names them first, in the order of their worst findings: the
// folder with the worst one first, and in it the worst first. Where the definition has no folders, all are in one without a name.
func (c *Comparison) Folders() (out []Folder) {
	names := c.folderNames()
	at := map[string]int{}
	for _, t := range c.WorstFirst() {
		name := names[t.GetId()]
		i, known := at[name]
		if !known {
			i, at[name] = len(out), len(out)
			out = append(out, Folder{Name: name})
		}
		out[i].Tables = append(out[i].Tables, t)
	}
	return out
}

// InOrder are the changed tables as Folders has them.
func (c *Comparison) InOrder() (out []*calibrationv1.TableReport) {
	for _, f := range c.Folders() {
		out = append(out, f.Tables...)
	}
	return out
}

// folderNames says for each changed table which folder it is in, by the titles from the outermost on.
func (c *Comparison) folderNames() map[string]string {
	out := map[string]string{}
	if c.Layout == nil || len(c.Layout.Folders) == 0 {
		return out
	}
	for _, t := range c.Report.GetTables() {
		out[t.GetId()] = "In no folder"
	}
	placed := map[string]bool{}
	path := pathsOf(c.Layout.Folders)
	for _, f := range c.Layout.Folders {
		for _, id := range f.GetTables() {
			if _, changed := out[id]; changed && !placed[id] {
				placed[id], out[id] = true, path(f)
			}
		}
	}
	return out
}

// pathsOf says of each folder which it is in, the outermost first.
func pathsOf(folders []*calibrationv1.Folder) func(*calibrationv1.Folder) string {
	in := map[string]*calibrationv1.Folder{}
	for _, f := range folders {
		for _, id := range f.GetFolders() {
			if in[id] == nil {
				in[id] = f
			}
		}
	}
	return func(f *calibrationv1.Folder) string {
		var names []string
		for ; f != nil; f = in[f.GetId()] {
			names = append(names, cmp.Or(f.GetTitle(), f.GetId()))
		}
		slices.Reverse(names)
		return strings.Join(names, ", ")
	}
}
