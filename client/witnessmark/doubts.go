package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/tables/doubt"
	"witnessmark/tables/severity"
)

const checkStatus = "Exit status: 0 nothing worse than a notice; 1 something is doubtful; 2 the file cannot be used as it is."

// newDefinitionCheck looks at a definition file alone.
func newDefinitionCheck(a *app) *cobra.Command {
	var imagePath, fileFormat string
	c := &cobra.Command{
		Use: "check FILE [--image IMAGE]", Short: "All that is wrong or doubtful in a definition file, at once (needs no server)",
		Long: "All that is wrong or doubtful in a definition file, at once: faults, units that nothing converts to, cells that share bytes.\n" +
			"With an image also what looks wrong when it is read so: values far from usual, axes that do not rise, stretches that belong to\nnothing. Needs no server.\n\n" + checkStatus,
		Args: takes(1),
		RunE: func(_ *cobra.Command, args []string) error {
			file, err := client.ReadBounded(args[0], client.MaxDocument)
			if err != nil {
				return err
			}
			lay, doubts := doubt.OfDefinition(args[0], file)
			if imagePath != "" && doubt.Worst(doubts) != severity.Danger {
				im, err := loadImage(imagePath, fileFormat, lay)
				if err != nil {
					return err
				}
				seen, err := doubt.OfImage(args[0], file, lay, im)
				if err != nil {
					return err
				}
				doubts = doubt.InOrder(append(doubts, seen...))
			}
			return a.doubts(args[0], doubts)
		},
	}
	c.Flags().StringVar(&imagePath, "image", "", "an image that the definition is for")
	c.Flags().StringVar(&fileFormat, "file-format", "", "of the image: "+formatUsage+"; "+byContent)
	return c
}

// newLimitsCheck looks at a limits file and the definition that it is for.
func newLimitsCheck(a *app) *cobra.Command {
	var defPath string
	c := &cobra.Command{
		Use: "check FILE --definition FILE", Short: "All that is wrong or doubtful in a limits file, at once (needs no server)",
		Long: "All that is wrong or doubtful in a limits file, at once, by itself and for a definition. Needs no server.\n\n" + checkStatus,
		Args: takes(1),
		RunE: func(_ *cobra.Command, args []string) error {
			lay, err := loadDefinition(defPath)
			if err != nil {
				return err
			}
			file, err := client.ReadBounded(args[0], client.MaxDocument)
			if err != nil {
				return err
			}
			return a.doubts(args[0], doubt.OfLimits(args[0], file, lay))
		},
	}
	c.Flags().StringVar(&defPath, "definition", "", "definition file (required)")
	return required(c, "definition")
}

// doubts prints what was found, worst last said by the exit status.
func (a *app) doubts(path string, all []doubt.Doubt) error {
	worst := doubt.Worst(all)
	a.saidNo = worst.AtLeast(severity.Caution)
	if err := a.printDoubts(a.out, all, worst); err != nil {
		return err
	}
	return unusable(path, all)
}

// unusable is nil where nothing is wrong.
func unusable(path string, all []doubt.Doubt) error {
	n := 0
	for _, d := range all {
		if d.Severity == severity.Danger {
			n++
		}
	}
	if n == 0 {
		return nil
	}
	return fmt.Errorf("%s cannot be used as it is; faults: %d", path, n)
}

func (a *app) printDoubts(w io.Writer, all []doubt.Doubt, worst severity.Level) error {
	if a.json() {
		return a.printJSON(map[string]any{"verdict": worst, "doubts": append([]doubt.Doubt{}, all...)}, nil)
	}
	for _, d := range all {
		fmt.Fprintf(w, "%-8s %s\n", d.Severity, client.OneLine(d.Error()))
	}
	if len(all) == 0 {
		fmt.Fprintln(w, "nothing is wrong or doubtful")
	}
	return nil
}
