package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/tables/a2l"
	"witnessmark/tables/definition"
	"witnessmark/tables/doubt"
	"witnessmark/tables/image"
	"witnessmark/tables/imported"
	"witnessmark/tables/limits"
	"witnessmark/tables/severity"
	"witnessmark/tables/yamldoc"
	"witnessmark/tables/yamlout"
)

// importing is one run of the command.
type importing struct {
	a                               *app
	path, image, format, module, to string
	replace                         bool
	o                               imported.Options
	file                            []byte       // of the image
	kind                            image.Format // of it, where it is said
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
	f.StringVar(&i.module, "module", "", "the module to import, where a description has several")
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

func (i *importing) run() error {
	held, err := i.held()
	if err != nil {
		return err
	}
	i.o.Held = held
	r, err := i.read()
	if err != nil {
		return err
	}
	base := filepath.Join(i.to, r.Definition.GetName())
	files := []made{{client.Out{Path: base + ".yaml", Replace: i.replace, Given: []string{i.path, i.image}}, yamlout.Write(r.Definition)}}
	if len(r.Limits.GetRules()) > 0 {
		files = append(files, made{client.Out{Path: base + ".limits.yaml", Replace: i.replace, Given: []string{i.path, i.image}}, yamlout.Write(r.Limits)})
	}
	for _, f := range files { // none is written where one cannot be
		if err := f.out.Free(); err != nil {
			return err
		}
	}
	for _, f := range files {
		if n := len(f.bytes); n > yamldoc.MaxBytes {
			return usage("%s would have %d bytes, where %d are allowed; --only takes a part of it", f.out.Path, n, yamldoc.MaxBytes)
		}
	}
	lay, err := definition.Load(files[0].out.Path, files[0].bytes)
	if err != nil {
		return err
	}
	if len(files) > 1 {
		l, err := limits.Load(files[1].out.Path, files[1].bytes)
		if err == nil {
			err = l.Check(lay)
		}
		if err != nil {
			return err
		}
	}
	doubts, err := i.look(lay, files[0])
	if err != nil {
		return err
	}
	if err := os.MkdirAll(i.to, 0o755); err != nil {
		return err
	}
	for _, f := range files {
		if err := f.out.Write(f.bytes); err != nil {
			return err
		}
	}
	return i.print(r, files, doubts)
}

// made is a file that is to be written.
type made struct {
	out   client.Out
	bytes []byte
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
	f, err := image.Decode(i.image, i.file, i.kind, 0)
	if err != nil || f.Format == image.Raw {
		return nil, err
	}
	return f.Held(), nil
}

// read imports the file, as its ending says.
func (i *importing) read() (*imported.Result, error) {
	if ending := strings.ToLower(filepath.Ext(i.path)); ending == ".csv" {
		b, err := client.ReadBounded(i.path, client.MaxDocument)
		if err != nil {
			return nil, err
		}
		d, err := imported.Sheet(i.path, strings.TrimSuffix(filepath.Base(i.path), filepath.Ext(i.path)), b, i.o)
		return &imported.Result{Definition: d}, err
	} else if ending != ".a2l" {
		return nil, usage("%s: its ending does not say what it is; allowed are .a2l and .csv", i.path)
	}
	b, err := client.ReadBounded(i.path, a2l.MaxBytes)
	if err != nil {
		return nil, err
	}
	modules, err := a2l.Read(i.path, b, included(filepath.Dir(i.path)))
	if err != nil {
		return nil, err
	}
	var names []string
	for _, m := range modules {
		if names = append(names, m.Name); m.Name == i.module || i.module == "" && len(modules) == 1 {
			return imported.A2L(m, i.o)
		}
	}
	what := "it has several modules"
	if i.module != "" {
		what = fmt.Sprintf("it has no module %.60q", i.module)
	}
	return nil, usage("%s: %s; allowed is --module with one of: %.300s", i.path, what, strings.Join(names, ", "))
}

// included gives files by their path from a folder, and none from outside it, wherever a link leads.
func included(folder string) func(string) ([]byte, error) {
	return func(name string) ([]byte, error) {
		root, err := os.OpenRoot(folder)
		if err != nil {
			return nil, err
		}
		defer root.Close()
		info, err := root.Stat(name)
		if err != nil {
			return nil, err
		}
		if !info.Mode().IsRegular() || info.Size() > a2l.MaxBytes {
			return nil, fmt.Errorf("%s is no file of at most %d bytes", name, int64(a2l.MaxBytes))
		}
		f, err := root.OpenFile(name, os.O_RDONLY|syscall.O_NONBLOCK, 0) // it may have become a pipe
		if err != nil {
			return nil, err
		}
		defer f.Close()
		return io.ReadAll(io.LimitReader(f, a2l.MaxBytes+1))
	}
}

// look reads everything out of the image once.
func (i *importing) look(lay *definition.Layout, f made) ([]doubt.Doubt, error) {
	if i.image == "" {
		return nil, nil
	}
	im, err := lay.ReadImage(i.image, i.file, i.kind)
	if err != nil {
		return nil, err
	}
	return doubt.OfImage(f.out.Path, f.bytes, lay, im)
}

func (i *importing) print(r *imported.Result, files []made, doubts []doubt.Doubt) error {
	a := i.a
	worst := doubt.Worst(doubts)
	a.saidNo = r.LeftOut() > 0 || worst.AtLeast(severity.Caution)
	d := r.Definition
	if a.json() {
		var names []string
		for _, f := range files {
			names = append(names, f.out.Path)
		}
		return a.printJSON(map[string]any{"files": names, "definition": d.GetName(), "tables": len(d.GetTables()), "axes": len(d.GetAxes()), "rules": len(r.Limits.GetRules()),
			"folders": len(d.GetFolders()), "left_out": r.LeftOut(), "said": append([]imported.Said{}, r.Said...), "verdict": worst, "doubts": append([]doubt.Doubt{}, doubts...)}, nil)
	}
	for _, s := range r.Said {
		a.say(s.String())
	}
	fmt.Fprintf(a.out, "%s: %s\n", files[0].out.Path, counted(len(d.GetTables()), "table", len(d.GetAxes()), "shared axis", len(d.GetFolders()), "folder"))
	if len(files) > 1 {
		fmt.Fprintf(a.out, "%s: %s\n", files[1].out.Path, counted(len(r.Limits.GetRules()), "rule"))
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
