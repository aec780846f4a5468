package main

import (
	"io"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/client/sheet"
	"witnessmark/tables/runcheck"
	"witnessmark/tables/severity"
)

func newRunCheck(a *app) *cobra.Command {
	var image, candidate, defPath, limPath, channels, fileFormat string
	c := &cobra.Command{
		Use:   "check FILE.csv --image IMAGE --definition FILE [--limits FILE]",
		Short: "Hold a run against the image that the controller had (needs no server)",
		Long: "Hold a run against the image that the controller had. Needs no server.\n\n" +
			"What the definition says is observed is looked up at every sample and compared with what was logged; limits of such\n" +
			"tables and signals judge what was logged. Knock retard, lean samples under load, boost over its target and time beyond\n" +
			"the axes of tables are found too. --candidate follows the boost target of a next image beyond the axes.\n\n" +
			"Exit status: 0 nothing worse than a notice; 1 a caution or worse; 2 the run could not be held against the image.",
		Args: takes(1),
		RunE: func(_ *cobra.Command, args []string) error {
			var in runcheck.Input
			var err error
			if in.Layout, err = loadDefinition(defPath); err != nil {
				return err
			}
			if in.Limits, err = loadLimits(limPath); err != nil {
				return err
			}
			if in.Image, err = loadImage(image, fileFormat, in.Layout); err != nil {
				return err
			}
			if candidate != "" {
				if in.Candidate, err = loadImage(candidate, fileFormat, in.Layout); err != nil {
					return err
				}
			}
			recorded, err := client.ReadRun(args[0], channels)
			if err != nil {
				return err
			}
			in.Run, in.SHA256 = recorded.Run, recorded.SHA256
			out, err := runcheck.Check(in)
			if err != nil {
				return err
			}
			a.saidNo = severity.Of(out.Verdict).AtLeast(severity.Caution)
			return a.print(out.RunCheck, func(w io.Writer) error { return sheet.WriteRunCheck(w, out.RunCheck) })
		},
	}
	f := c.Flags()
	f.StringVar(&image, "image", "", "the image that the controller had (required)")
	f.StringVar(&defPath, "definition", "", "definition file (required)")
	f.StringVar(&limPath, "limits", "", "limits file")
	f.StringVar(&candidate, "candidate", "", "a next image, whose boost target is followed")
	f.StringVar(&channels, "channels", "", "channel file, where the headers are others")
	f.StringVar(&fileFormat, "file-format", "", "of the images: "+formatUsage+"; "+byContent)
	return required(c, "image", "definition")
}
