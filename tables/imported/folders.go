package imported

import (
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/a2l"
)

// folders sort tables as functions and groups do. Empty ones are left away.
func (im *importer) folders() {
	names := ids{}
	f := &foldering{im: im, of: map[string]*calibrationv1.Folder{}, state: map[*calibrationv1.Folder]int{}, inside: map[*calibrationv1.Folder]*a2l.Group{}}
	claimed := map[string][]string{}
	for _, c := range im.m.Characteristics {
		for _, function := range c.Functions {
			claimed[function] = append(claimed[function], c.Name)
		}
	}
	var all []*calibrationv1.Folder
	for _, g := range im.m.Groups {
		folder := &calibrationv1.Folder{Id: names.of(g.Name), Title: oneLine(g.Title)}
		if folder.Title == "" && folder.Id != g.Name {
			folder.Title = oneLine(g.Name)
		}
		objects := g.Objects
		if g.Block == "FUNCTION" {
			objects = append(slices.Clone(objects), claimed[g.Name]...)
		}
		folder.Tables = im.tablesNamed(g, objects)
		f.of[g.Block+" "+g.Name], f.inside[folder] = folder, g
		all = append(all, folder)
	}
	for _, folder := range all {
		f.fill(folder)
	}
	im.out.Definition.Folders = slices.DeleteFunc(all, func(x *calibrationv1.Folder) bool { return f.state[x] == empty })
}

// tablesNamed are the ids of the objects that became tables, each once; it says which there are not.
func (im *importer) tablesNamed(g *a2l.Group, objects []string) (out []string) {
	seen := map[string]bool{}
	var absent []string
	for _, name := range objects {
		b := im.built[name]
		switch {
		case seen[name]:
		case b != nil && b.why == nil:
			out = append(out, b.table.GetId())
		case im.objects[name] == nil && im.pts[name] == nil && !slices.ContainsFunc(im.m.Faults, func(f a2l.Fault) bool { return f.Name == name }):
			absent = append(absent, name)
		}
		seen[name] = true
	}
	if len(absent) > 0 && len(im.o.Only) == 0 {
		im.say(g.Place, g.Name, true, "it names objects that are not there: %.300s", strings.Join(absent, ", "))
	}
	return out
}

const (
	untouched = iota
	underWay
	full
	empty
)

// foldering puts folders into each other.
type foldering struct {
	im     *importer
	of     map[string]*calibrationv1.Folder
	inside map[*calibrationv1.Folder]*a2l.Group
	state  map[*calibrationv1.Folder]int
}

// fill gives a folder those inside it, and leaves away what would close a circle.
func (f *foldering) fill(folder *calibrationv1.Folder) {
	if f.state[folder] != untouched {
		return
	}
	f.state[folder] = underWay
	g := f.inside[folder]
	state := empty
	if len(folder.Tables) > 0 {
		state = full
	}
	for _, name := range g.Inside {
		child := f.of[g.Block+" "+name]
		if child == nil {
			f.im.say(g.Place, g.Name, true, "there is no %s %.100s to be inside it", g.Block, name)
			continue
		}
		f.fill(child)
		switch {
		case f.state[child] == underWay:
			f.im.say(g.Place, g.Name, true, "%s %.100s is not shown inside it, since it is inside that one", g.Block, name)
		case f.state[child] == full && !slices.Contains(folder.Folders, child.Id):
			folder.Folders = append(folder.Folders, child.Id)
			state = full
		}
	}
	f.state[folder] = state
}
