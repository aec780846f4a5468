package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/tables/carry"
	"witnessmark/tables/definition"
)

func newDefinitionCarry(a *app) *cobra.Command {
	var fromPath, toPath, fileFormat, least string
	var out client.Out
	var o carry.Options
	c := &cobra.Command{
		Use:   "carry DEFINITION --from IMAGE --to IMAGE --out FILE",
		Short: "Write a definition for another version of the software, by finding its tables there (needs no server)",
		Long: "Write a definition for another version of the software, by finding its tables there. Needs no server.\n\n" +
			"Each table of the one image is looked for in the other, and how sure its place is is said: same bytes, same axes\n" +
			"(its own bytes were changed), moved as its neighbours, not found. What is less sure than --least is not written.\n" +
			"What has to be looked at or set by hand is said beside the answer.\n\n" +
			"Exit status: 0 all tables were found so surely; 1 some were not, and the others are written; 2 nothing could be written.",
		Args: takes(1),
	}
	outFlags(c, &out.Path, &out.Replace)
	f := c.Flags()
	f.StringVar(&fromPath, "from", "", "an image that the definition is for (required)")
	f.StringVar(&toPath, "to", "", "an image of the other version (required)")
	f.StringVar(&fileFormat, "file-format", "", "of both images: "+formatUsage+"; "+byContent)
	f.StringVar(&least, "least", "same-axes", "how sure a table that is written has to be: moved, same-axes, same-bytes")
	f.StringVar(&o.Name, "name", "", "name of the new definition; where left out, the old one's and the beginning of the image's SHA-256")
	f.BoolVar(&o.Expect, "expect", false, "have identity fields expect what the other image says")
	c.RunE = func(_ *cobra.Command, args []string) error {
		out.Given = []string{args[0], fromPath, toPath}
		if err := out.Free(); err != nil {
			return err
		}
		var err error
		if o.Least, err = carry.Named(least); err != nil {
			return usage("--least: %v", err)
		}
		lay, err := loadDefinition(args[0])
		if err != nil {
			return err
		}
		from, err := loadImage(fromPath, fileFormat, lay)
		if err != nil {
			return err
		}
		if err := lay.Identify(from.Bytes); err != nil {
			return fmt.Errorf("%s: %w", fromPath, err)
		}
		to, err := loadImage(toPath, fileFormat, lay)
		if err != nil {
			return err
		}
		if o.Name == "" {
			o.Name = lay.Name + "-" + string(to.SHA256()[:8])
		}
		found, err := carry.Find(lay, from, to)
		if err != nil {
			return err
		}
		made, err := found.Definition(o)
		if err == nil {
			err = out.Write(made.File)
		}
		if err != nil {
			return err
		}
		return a.printCarried(out.Path, found, made)
	}
	return required(c, "from", "to", "out")
}

// printCarried says what became of each table, and beside it what has to be looked at.
func (a *app) printCarried(path string, found *carry.Result, made *carry.Written) error {
	for _, line := range made.Look {
		a.say(line)
	}
	kept := func(f carry.Found) bool { return made.Layout.ByID[f.ID] != nil }
	for _, f := range found.Tables {
		a.saidNo = a.saidNo || !kept(f)
	}
	if a.json() {
		return a.printValues("file", path, "name", made.Layout.Name, "tables", foundValues(found.Tables, kept),
			"axes", foundValues(found.Axes, func(f carry.Found) bool { return hasAxis(made.Layout, f.ID) }))
	}
	counts, written := map[carry.Surety]int{}, 0
	rows := [][]string{{"TABLE", "WAS AT", "IS AT", "HOW SURE", ""}}
	for _, f := range found.Tables {
		counts[f.How]++
		why := f.Why
		if kept(f) {
			written++
		} else if f.How != carry.NotFound {
			why += " (not written)"
		}
		rows = append(rows, []string{f.ID, fmt.Sprintf("0x%x", f.From), toAddress(f), f.How.String(), why})
	}
	if err := columns(a.out, rows); err != nil {
		return err
	}
	_, err := fmt.Fprintf(a.out, "\ndefinition %s into %s: %d of %d tables; same bytes %d, same axes %d, moved as their neighbours %d, not found %d\n",
		made.Layout.Name, path, written, len(found.Tables), counts[carry.SameBytes], counts[carry.SameAxes], counts[carry.Moved], counts[carry.NotFound])
	return err
}

func hasAxis(lay *definition.Layout, id string) bool {
	for _, x := range lay.Axes {
		if x.ID == id {
			return true
		}
	}
	return false
}

// toAddress is where something was found; a dash where it was not.
func toAddress(f carry.Found) string {
	if f.How == carry.NotFound {
		return "—"
	}
	return fmt.Sprintf("0x%x", f.To)
}

func foundValues(list []carry.Found, written func(carry.Found) bool) []any {
	out := []any{}
	for _, f := range list {
		one := map[string]any{"id": f.ID, "from": fmt.Sprintf("0x%x", f.From), "to": "", "how": f.How.String(), "why": f.Why, "written": written(f)}
		if f.How != carry.NotFound {
			one["to"] = toAddress(f)
		}
		out = append(out, one)
	}
	return out
}
