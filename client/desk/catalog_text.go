package desk

import (
	"cmp"
	"fmt"
	"path/filepath"
	"strconv"
	"strings"
	"unicode/utf8"

	"witnessmark/client"
	"witnessmark/tables/imported"
)

// addBody is the form that takes a file.
type addBody struct {
	catalogKind
	Import      []field // how a description is read
	Definitions []field // that limits are proposed for
	May         string
}

func (f *filling) adding(p page, k catalogKind) addBody {
	b := addBody{catalogKind: k, May: p.may(k.Kind)}
	if k.Kind == client.Limits {
		b.Definitions = []field{{Kind: "pick", Name: "definition", Label: "Propose limits to start from, for the definition", Options: f.desk.names(client.Definitions)}}
		return b
	}
	b.Import = []field{
		{Kind: "pick", Name: "order", Label: "Byte order", Options: [][2]string{{"", "as the description says"}, {"big", "big"}, {"little", "little"}}},
		{Kind: "line", Name: "module", Label: "Module", Hint: "Where a description has several."},
		{Kind: "text", Name: "only", Label: "Only objects of these names, one a line", Hint: "With * and ? in them; what they need comes with them."},
		{Kind: "line", Name: "extension", Label: "Address extension", Hint: "Where it is not 0."},
	}
	for i := range b.Import {
		b.Import[i].Value = f.value(b.Import[i].Name)
	}
	return b
}

// text is what was sent: a file, an import of one, or what was typed.
func (f *filling) text(a *adding) error {
	path := f.files["file"]
	if path == "" {
		if f.FormValue("text") == "" {
			return &client.Error{Kind: client.Usage, Text: "choose a file first"}
		}
		a.File = fileName(cmp.Or(f.value("name"), a.Kind+".yaml"))
		a.Text = typedText(f.FormValue("text"))
		f.carried(a)
		return nil
	}
	if len(f.MultipartForm.File["file"]) > 1 {
		return &client.Error{Kind: client.Usage, Text: "several files at once were chosen; allowed is one at a time"}
	}
	a.File = filepath.Base(path)
	switch ending := strings.ToLower(filepath.Ext(path)); {
	case ending == ".yaml" || ending == ".yml":
	case a.Kind == client.Definitions && (ending == ".a2l" || ending == ".csv"):
		return f.imported(path, a)
	case a.Kind == client.Definitions:
		return &client.Error{Kind: client.Usage, Text: a.File + ": its ending does not say what it is; allowed are .yaml, .a2l and .csv"}
	default:
		return &client.Error{Kind: client.Usage, Text: a.File + ": its ending does not say what it is; allowed is .yaml"}
	}
	b, err := client.ReadBounded(path, client.MaxDocument)
	if err == nil && !utf8.Valid(b) {
		err = &client.Error{Kind: client.Usage, Text: a.File + " is not text"}
	}
	a.Text = typedText(string(b))
	return err
}

// carried is what a page said of the text when it was made, and says again.
func (f *filling) carried(a *adding) {
	a.Said, a.SaidOf, a.More, a.Typed = f.Form["said"], f.value("said-of"), int(f.number("more")), f.value("typed")
	if name := f.value("declared"); name != "" {
		a.Declared = &client.ImportedFile{Name: fileName(name), Bytes: []byte(typedText(f.FormValue("declared-text")))}
	}
}

// typedText is a text as files have it; forms end lines as networks do.
func typedText(s string) string { return strings.ReplaceAll(s, "\r\n", "\n") }

// imported makes the text out of a description.
func (f *filling) imported(path string, a *adding) error {
	extension, err := strconv.ParseInt(cmp.Or(f.value("extension"), "0"), 0, 64)
	if err != nil {
		return &client.Error{Kind: client.Usage, Text: fmt.Sprintf("address extension %.40q is no whole number", f.value("extension"))}
	}
	o := client.Importing{Module: f.value("module"), Options: imported.Options{ByteOrder: f.value("order"), Extension: extension, Only: lines(f.value("only"))}}
	if a.Image != "" {
		b, err := client.ReadBounded(a.Image, client.MaxFile)
		if err == nil {
			o.Held, err = client.HeldIn(a.Image, b, "")
		}
		if err != nil {
			return err
		}
	}
	made, err := client.Import(path, o)
	if err != nil {
		return err
	}
	a.File, a.Text = made.Files[0].Name, string(made.Files[0].Bytes)
	if len(made.Files) > 1 {
		a.Declared = &made.Files[1]
	}
	for _, s := range made.Said {
		a.Said = append(a.Said, f.desk.plain(fmt.Errorf("%s", s)))
	}
	a.SaidOf = fmt.Sprintf("What was left out of %s, or kept without something", filepath.Base(path))
	if a.Said == nil {
		a.Said = []string{"Nothing: all of it was imported."}
	}
	a.More = max(0, len(a.Said)-mostSaid)
	a.Said = a.Said[:len(a.Said)-a.More]
	return nil
}
