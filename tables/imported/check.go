package imported

import (
	"fmt"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/yamldoc"
	"witnessmark/tables/yamlout"
)

// maxRounds bounds how often what cannot be compiled is left out before the import gives up.
const maxRounds = 100

// check leaves out what our own compiler refuses, with its reason, and what hangs on that.
func (im *importer) check() error {
	d := im.out.Definition
	for range maxRounds {
		_, err := definition.Compile("", nil, d)
		if err == nil {
			return nil
		}
		_, faults := definition.Examine("", yamlout.Write(d))
		tables, axes := map[string]string{}, map[string]string{} // reasons by id
		for _, fault := range faults {
			switch list, i := yamldoc.Entry(fault); {
			case i < 0:
			case list == "tables" && i < len(d.Tables):
				once(tables, d.Tables[i].GetId(), yamldoc.What(fault))
			case list == "axes" && i < len(d.Axes):
				once(axes, d.Axes[i].GetId(), yamldoc.What(fault))
			}
		}
		if len(tables)+len(axes) == 0 {
			return fmt.Errorf("module %s: %w", im.m.Name, err)
		}
		im.hanging(tables, axes)
		im.dropAxes(axes)
		im.dropTables(tables)
	}
	return fmt.Errorf("module %s: too much of it cannot be said", im.m.Name)
}

func once(reasons map[string]string, id, why string) {
	if reasons[id] == "" {
		reasons[id] = why
	}
}

// hanging adds tables that need what is left out.
func (im *importer) hanging(tables, axes map[string]string) {
	for again := true; again; {
		again = false
		for _, t := range im.out.Definition.Tables {
			for _, a := range definition.AxesOf(t) {
				why := ""
				if axes[a.GetAxis()] != "" {
					why = fmt.Sprintf("its axis %s was left out", a.GetAxis())
				} else if curve := a.GetBy().GetCurve(); tables[curve] != "" {
					why = fmt.Sprintf("it is looked up through %s, which was left out", curve)
				}
				if why != "" && tables[t.GetId()] == "" {
					tables[t.GetId()], again = why, true
				}
			}
		}
	}
}

func (im *importer) dropAxes(axes map[string]string) {
	for _, a := range im.m.AxisPts {
		for key, s := range im.shared {
			if why := axes[s.axis.GetId()]; key.pts == a.Name && why != "" {
				im.say(a.Place, a.Name, false, "%s", why)
			}
		}
	}
	d := im.out.Definition
	d.Axes = slices.DeleteFunc(d.Axes, func(a *calibrationv1.Axis) bool { return axes[a.GetId()] != "" })
}

func (im *importer) dropTables(tables map[string]string) {
	for _, c := range im.m.Characteristics {
		if why := tables[im.ids[c.Name]]; why != "" {
			im.say(c.Place, c.Name, false, "%s", why)
		}
	}
	d := im.out.Definition
	d.Tables = slices.DeleteFunc(d.Tables, func(t *calibrationv1.Table) bool { return tables[t.GetId()] != "" })
	for _, f := range d.Folders {
		f.Tables = slices.DeleteFunc(f.Tables, func(id string) bool { return tables[id] != "" })
	}
}
