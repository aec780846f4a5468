package imported

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/a2l"
	"witnessmark/tables/definition"
	"witnessmark/tables/yamldoc"
)

// maxRounds bounds how often what cannot be compiled is left out before the import gives up.
const maxRounds = 1000

// check leaves out what our own compiler refuses, with its reason.
func (im *importer) check() error {
	d := im.out.Definition
	objects := map[string]*a2l.Characteristic{}
	for name, id := range im.ids {
		objects[id] = im.objects[name]
	}
	for range maxRounds {
		_, err := definition.Compile("", nil, d)
		var e *yamldoc.Error
		if err == nil || !errors.As(err, &e) {
			return err
		}
		why := e.Problem
		if e.Allowed != "" {
			why += "; allowed: " + e.Allowed
		}
		list, i := "", 0
		if n, _ := fmt.Sscanf(strings.ReplaceAll(yamldoc.Element(e), "[", " "), "%s %d", &list, &i); n < 2 {
			return fmt.Errorf("%s: %w", im.m.Name, err)
		}
		switch {
		case list == "tables" && i < len(d.Tables):
			c := objects[d.Tables[i].GetId()]
			im.say(c.Place, c.Name, false, "%s", why)
			im.drop(d.Tables[i].GetId())
			d.Tables = slices.Delete(d.Tables, i, i+1)
		case list == "axes" && i < len(d.Axes):
			im.dropAxis(d.Axes[i], why)
			d.Axes = slices.Delete(d.Axes, i, i+1)
		default:
			return fmt.Errorf("%s: %w", im.m.Name, err)
		}
	}
	return fmt.Errorf("module %s: more than %d objects cannot be said", im.m.Name, maxRounds)
}

// drop takes a table out of its folders.
func (im *importer) drop(id string) {
	for _, f := range im.out.Definition.Folders {
		f.Tables = slices.DeleteFunc(f.Tables, func(t string) bool { return t == id })
	}
}

func (im *importer) dropAxis(a *calibrationv1.Axis, why string) {
	for _, s := range im.shared {
		if s.axis == a {
			im.say(s.from.Place, s.from.Name, false, "%s", why)
		}
	}
}
