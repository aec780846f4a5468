package client

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"witnessmark/tables/a2l"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/imported"
	"witnessmark/tables/limits"
	"witnessmark/tables/yamldoc"
	"witnessmark/tables/yamlout"
)

// Importing is how a description from elsewhere is read.
type Importing struct {
	imported.Options
	Module string // the one to import, where a description has several
}

// Imported is a definition made of a description, and what became of it on the way.
type Imported struct {
	*imported.Result
	Layout *definition.Layout
	Files  []ImportedFile // the definition, NAME.yaml, and where its author declared limits NAME.limits.yaml
}

// ImportedFile is a file as a person would write it, by its name without a folder.
type ImportedFile struct {
	Name  string
	Bytes []byte
}

// Import makes a definition, and limits, of a description in ASAM MCD-2 MC (.a2l) or of a spreadsheet (.csv), which the
// definition and the limits readers take. What a description includes lies beside it.
func Import(path string, o Importing) (*Imported, error) {
	r, err := importFile(path, o)
	if err != nil {
		return nil, err
	}
	name := r.Definition.GetName()
	out := &Imported{Result: r, Files: []ImportedFile{{name + ".yaml", yamlout.Write(r.Definition)}}}
	if len(r.Limits.GetRules()) > 0 {
		out.Files = append(out.Files, ImportedFile{name + ".limits.yaml", yamlout.Write(r.Limits)})
	}
	for _, f := range out.Files {
		if n := len(f.Bytes); n > yamldoc.MaxBytes {
			return nil, usage("--only PATTERN", "%s would have %d bytes, where %d are allowed; allowed is to import objects of some names only", f.Name, n, yamldoc.MaxBytes)
		}
	}
	if out.Layout, err = definition.Load(out.Files[0].Name, out.Files[0].Bytes); err != nil || len(out.Files) == 1 {
		return out, err
	}
	l, err := limits.Load(out.Files[1].Name, out.Files[1].Bytes)
	if err == nil {
		err = l.Check(out.Layout)
	}
	return out, err
}

// HeldIn is what an image file, read as b, says that it holds: nil where it has no addresses.
func HeldIn(path string, b []byte, kind image.Format) ([]image.Range, error) {
	f, err := image.Decode(path, b, kind, 0)
	if err != nil || f.Format == image.Raw {
		return nil, err
	}
	return f.Held(), nil
}

// importFile reads the file, as its ending says.
func importFile(path string, o Importing) (*imported.Result, error) {
	switch ending := filepath.Ext(path); strings.ToLower(ending) {
	case ".csv":
		b, err := ReadBounded(path, MaxDocument)
		if err != nil {
			return nil, err
		}
		d, err := imported.Sheet(path, strings.TrimSuffix(filepath.Base(path), ending), b, o.Options)
		return &imported.Result{Definition: d}, err
	case ".a2l":
		return importModule(path, o)
	}
	return nil, usage("", "%s: its ending does not say what it is; allowed are .a2l and .csv", path)
}

func importModule(path string, o Importing) (*imported.Result, error) {
	b, err := ReadBounded(path, a2l.MaxBytes)
	if err != nil {
		return nil, err
	}
	modules, err := a2l.Read(path, b, included(filepath.Dir(path)))
	if err != nil {
		return nil, err
	}
	var names []string
	for _, m := range modules {
		if names = append(names, m.Name); m.Name == o.Module || o.Module == "" && len(modules) == 1 {
			return imported.A2L(m, o.Options)
		}
	}
	what := "it has several modules"
	if o.Module != "" {
		what = fmt.Sprintf("it has no module %.60q", o.Module)
	}
	return nil, usage("--module NAME", "%s: %s; allowed as the module is one of: %.300s", path, what, strings.Join(names, ", "))
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
