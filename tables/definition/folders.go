package definition

import (
	"fmt"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/image"
)

// folders checks that what they name is there, and that none is inside itself.
func (c *compiler) folders() {
	at := map[string]string{} // places by id
	all := map[string]*calibrationv1.Folder{}
	for i, f := range c.d.GetFolders() {
		if c.wrong(c.at.ID(fmt.Sprintf("folders[%d]", i), f.GetId(), at)) {
			c.lost["folder "+f.GetId()] = true
			continue
		}
		all[f.GetId()] = f
	}
	for i, f := range c.d.GetFolders() {
		if path := fmt.Sprintf("folders[%d]", i); all[f.GetId()] == f && !c.wrong(c.folder(path, f, all)) {
			c.lay.Folders = append(c.lay.Folders, f)
		}
	}
	done := map[*calibrationv1.Folder]bool{}
	for _, f := range c.lay.Folders {
		if c.wrong(c.inItself(f, all, at, done, nil)) {
			c.lay.Folders = nil // nobody may walk them
			return
		}
	}
}

func (c *compiler) folder(path string, f *calibrationv1.Folder, all map[string]*calibrationv1.Folder) error {
	for i, id := range f.GetTables() {
		if c.lay.ByID[id] == nil && !c.lost["table "+id] {
			return c.at.Errorf(fmt.Sprintf("%s.tables[%d]", path, i), "the id of a table", "%.60q is none", id)
		}
	}
	for i, id := range f.GetFolders() {
		if all[id] == nil && !c.lost["folder "+id] {
			return c.at.Errorf(fmt.Sprintf("%s.folders[%d]", path, i), "the id of a folder", "%.60q is none", id)
		}
	}
	return nil
}

// maxFolders is how deep folders may stand in each other.
const maxFolders = 100

func (c *compiler) inItself(f *calibrationv1.Folder, all map[string]*calibrationv1.Folder, at map[string]string, done map[*calibrationv1.Folder]bool, around []string) error {
	if f == nil || done[f] {
		return nil
	}
	path := at[f.GetId()] + ".folders"
	if slices.Contains(around, f.GetId()) {
		return c.at.Errorf(path, "no folder inside itself", "it is inside itself: %s", strings.Join(append(around, f.GetId()), ", "))
	}
	if len(around) == maxFolders {
		return c.at.Errorf(path, fmt.Sprintf("at most %d inside each other", maxFolders), "folders stand too deep in each other")
	}
	around = append(around, f.GetId())
	for _, id := range f.GetFolders() {
		if err := c.inItself(all[id], all, at, done, around); err != nil {
			return err
		}
	}
	done[f] = true
	return nil
}

// carried checks what is said of where the definition was carried over from.
func (c *compiler) carried() {
	from := c.d.GetCarried()
	if from == nil {
		return
	}
	c.wrong(c.at.Name("carried.definition", from.GetDefinition()))
	for _, h := range []struct{ field, hash string }{{"definition_sha256", from.GetDefinitionSha256()},
		{"from_image_sha256", from.GetFromImageSha256()}, {"to_image_sha256", from.GetToImageSha256()}} {
		if _, err := image.ParseHash(h.hash); err != nil {
			c.wrong(c.at.Errorf("carried."+h.field, "64 lower-case hex digits", "%.80q is no SHA-256", h.hash))
		}
	}
}
