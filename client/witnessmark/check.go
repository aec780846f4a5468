package main

import (
	"github.com/spf13/cobra"

	"witnessmark/client/sheet"
	"witnessmark/tables/compare"
	"witnessmark/tables/severity"
)

func newCheckCommand(a *app) *cobra.Command {
	var defPath, limPath, fileFormat string
	var numbers []string
	c := &cobra.Command{
		Use:   "check IMAGE --definition FILE --limits FILE",
		Short: "Judge every table of one image file (needs no server)",
		Args:  takes(1),
		RunE: func(_ *cobra.Command, args []string) error {
			lay, err := loadDefinition(defPath)
			if err != nil {
				return err
			}
			lim, err := loadLimits(limPath)
			if err != nil {
				return err
			}
			job, err := numberFacts(numbers)
			if err != nil {
				return err
			}
			im, err := loadImage(args[0], fileFormat, lay)
			if err != nil {
				return err
			}
			report, err := compare.Check(im, lay, lim, job)
			if err != nil {
				return err
			}
			a.saidNo = severity.Of(report.GetVerdict()).AtLeast(severity.Caution)
			return a.printReport(report, sheet.Options{Layout: lay, Candidate: im.Bytes, Width: a.width()})
		},
	}
	f := c.Flags()
	f.StringVar(&defPath, "definition", "", "definition file (required)")
	f.StringVar(&limPath, "limits", "", "limits file (required)")
	f.StringArrayVar(&numbers, "number", nil, numberUsage)
	f.StringVar(&fileFormat, "file-format", "", formatUsage+"; "+byContent)
	_ = c.MarkFlagRequired("definition")
	_ = c.MarkFlagRequired("limits")
	return c
}
