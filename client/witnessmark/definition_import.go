package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/tables/definition"
	"witnessmark/tables/doubt"
	"witnessmark/tables/image"
	"witnessmark/tables/imported"
	"witnessmark/tables/severity"
)

// importing is one run of the command.
type importing struct {
	a                       *app
	path, image, format, to string
	replace                 bool
	o                       client.Importing
	file                    []byte       // of the image
	kind                    image.Format // of it, where it is said
}

func newDefinitionImport(a *app) *cobra.Command {
	i := &importing{a: a}
	c := &cobra.Command{
		Use:   "import FILE [--image IMAGE] [--only PATTERN] [--out FOLDER]",
		Short: "Write a definition and limits from a controller's description, or from a spreadsheet (needs no server)",
		Long: "Write a definition, NAME.yaml, from a description in ASAM MCD-2 MC (.a2l) or from a spreadsheet (.csv) of a row a table. Of a\n" +
			"description also NAME.limits.yaml: the bounds that its author declared. What was left out is said beside the answer, object by\n" +
			"object. With an image everything is read out of it once, and what looks wrong is said. Needs no server.\n\n" +
			"Files that a description includes lie beside it; with them it is at most 256 MiB.\n\n" +
			"Exit status: 0 all that was asked for was imported; 1 something was left out, or looks wrong; 2 nothing was written.",
		Args: takes(1),
	}
	f := c.Flags()
	f.StringVar(&i.image, "image", "", "an image that the description is for")
	f.StringVar(&i.format, "file-format", "", "of the image: "+formatUsage+"; "+byContent)
	f.StringSliceVar(&i.o.Only, "only", nil, "import only objects of such names, with * and ? in them, and what they need")
	f.StringVar(&i.to, "out", ".", "the folder to write into")
	f.StringVar(&i.o.ByteOrder, "byte-order", "", "big or little, where the description does not say it beyond doubt")
	f.Int64Var(&i.o.Extension, "extension", 0, "import only objects of this address extension")
	f.StringVar(&i.o.Module, "module", "", "the module to import, where a description has several")
	replaceFlag(c, &i.replace)
	c.RunE = func(_ *cobra.Command, args []string) error {
		i.path = args[0]
		if o := i.o.ByteOrder; o != "" && o != "big" && o != "little" {
			return usage("--byte-order %q: allowed are big and little", o)
		}
		return i.run()
	}
	return c
}

func (i *importing) run() (err error) {
	if i.o.Held, err = i.held(); err != nil {
		return err
	}
	r, err := client.Import(i.path, i.o)
	if err != nil {
		return err
	}
	var outs []client.Out
	for _, f := range r.Files { // none is written where one cannot be
		outs = append(outs, client.Out{Path: filepath.Join(i.to, f.Name), Replace: i.replace, Given: []string{i.path, i.image}})
		if err := outs[len(outs)-1].Free(); err != nil {
			return err
		}
	}
	doubts, err := i.look(r.Layout, outs[0].Path, r.Files[0].Bytes)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(i.to, 0o755); err != nil {
		return err
	}
	for k, f := range r.Files {
		if err := outs[k].Write(f.Bytes); err != nil {
			return err
		}
	}
	return i.print(r, outs, doubts)
}

// held reads the image file, and says what it holds, where it has addresses.
func (i *importing) held() (_ []image.Range, err error) {
	if i.image == "" {
		return nil, nil
	}
	if i.file, err = client.ReadBounded(i.image, client.MaxFile); err != nil {
		return nil, err
	}
	if i.kind, err = formatOr(i.format); err != nil {
		return nil, err
	}
	return client.HeldIn(i.image, i.file, i.kind)
}

// look reads everything out of the image once.
func (i *importing) look(lay *definition.Layout, path string, file []byte) ([]doubt.Doubt, error) {
	if i.image == "" {
		return nil, nil
	}
	im, err := lay.ReadImage(i.image, i.file, i.kind)
	if err != nil {
		return nil, err
	}
	return doubt.OfImage(path, file, lay, im)
}

func (i *importing) print(r *client.Imported, files []client.Out, doubts []doubt.Doubt) error {
	a := i.a
	worst := doubt.Worst(doubts)
	a.saidNo = r.LeftOut() > 0 || worst.AtLeast(severity.Caution)
	d := r.Definition
	if a.json() {
		var names []string
		for _, f := range files {
			names = append(names, f.Path)
		}
		return a.printJSON(map[string]any{"files": names, "definition": d.GetName(), "tables": len(d.GetTables()), "axes": len(d.GetAxes()), "rules": len(r.Limits.GetRules()),
			"folders": len(d.GetFolders()), "left_out": r.LeftOut(), "said": append([]imported.Said{}, r.Said...), "verdict": worst, "doubts": append([]doubt.Doubt{}, doubts...)}, nil)
	}
	for _, s := range r.Said {
		a.say(s.String())
	}
	fmt.Fprintf(a.out, "%s: %s\n", files[0].Path, counted(len(d.GetTables()), "table", len(d.GetAxes()), "shared axis", len(d.GetFolders()), "folder"))
	if len(files) > 1 {
		fmt.Fprintf(a.out, "%s: %s\n", files[1].Path, counted(len(r.Limits.GetRules()), "rule"))
	}
	if n := r.LeftOut(); n > 0 {
		fmt.Fprintf(a.out, "left out: %s\n", counted(n, "object"))
	}
	if i.image == "" {
		return nil
	}
	return a.printDoubts(a.out, doubts, worst)
}

// counted lists numbers of things, of those there are any.
func counted(pairs ...any) string {
	var all []string
	for i := 0; i+1 < len(pairs); i += 2 {
		n, what := pairs[i].(int), pairs[i+1].(string)
		switch {
		case n == 0 && i > 0:
			continue
		case n != 1 && strings.HasSuffix(what, "axis"):
			what = strings.TrimSuffix(what, "is") + "es"
		case n != 1:
			what += "s"
		}
		all = append(all, fmt.Sprintf("%d %s", n, what))
	}
	return strings.Join(all, ", ")
}
