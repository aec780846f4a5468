package main

import (
	"bytes"
	"fmt"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/tables/imported"
	"witnessmark/tables/printed"
)

func newDefinitionExport(a *app) *cobra.Command {
	var out client.Out
	var asSheet bool
	c := &cobra.Command{
		Use:   "export DEFINITION --csv [--out FILE]",
		Short: "Write a definition's tables as a spreadsheet (needs no server)",
		Long: "Write a definition's tables as a spreadsheet, a row a table, which import reads back; to standard output without --out.\n" +
			"What a row cannot say is left out, and said beside the answer. Needs no server.\n\n" +
			"Exit status: 0 everything was written; 1 something was left out; 2 nothing was written.",
		Args: takes(1),
	}
	outFlags(c, &out.Path, &out.Replace)
	c.Flags().BoolVar(&asSheet, "csv", false, "as CSV (required)")
	c.RunE = func(_ *cobra.Command, args []string) error {
		if !asSheet {
			return usage("--csv is missing; allowed is no other kind of file")
		}
		out.Given = args
		return a.exportSheet(args[0], out)
	}
	return c
}

func (a *app) exportSheet(path string, out client.Out) error {
	lay, err := loadDefinition(path)
	if err != nil {
		return err
	}
	rows, said := imported.SheetRows(path, lay.Source)
	a.saidNo = len(said) > 0
	var b bytes.Buffer
	if err := printed.Rows(&b, rows); err != nil {
		return err
	}
	if out.Path == "" {
		_, err = a.out.Write(b.Bytes())
	} else {
		err = out.Write(b.Bytes())
	}
	if err != nil {
		return err
	}
	if a.json() && out.Path != "" {
		return a.printJSON(map[string]any{"file": out.Path, "rows": len(rows) - 1, "said": append([]imported.Said{}, said...)}, nil)
	}
	for _, s := range said {
		a.say(s.String())
	}
	if out.Path != "" {
		_, err = fmt.Fprintf(a.out, "%s: %s\n", out.Path, counted(len(rows)-1, "table"))
	}
	return err
}
