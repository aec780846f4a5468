package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/client/sheet"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/printed"
	"witnessmark/tables/run"
	"witnessmark/tables/severity"
)

// csvAllowed marks a command that can print changed cells as CSV too (--format csv).
var csvAllowed = map[string]string{"csv": "yes"}

func newCompareCommand(a *app) *cobra.Command {
	var defPath, candidateDef, limPath, fileFormat, foundPath, table, runPath, channels string
	var meant, numbers []string
	var anyVerdict bool
	c := &cobra.Command{
		Use:   "compare BASE CANDIDATE --definition FILE [--limits FILE] [--run FILE]",
		Short: "Compare two image files cell by cell and judge what changed (needs no server)",
		Long: "Compare two image files cell by cell and judge what changed. Needs no server.\n\n" +
			"Exit status: 0 nothing worse than a notice; 1 a caution or worse (0 with --any-verdict);\n2 the comparison could not be made.\n--format csv prints the changed cells, one a line.",
		Args:        takes(2),
		Annotations: csvAllowed,
		RunE: func(cmd *cobra.Command, args []string) error {
			in, err := comparison(args[0], args[1], defPath, candidateDef, limPath, fileFormat)
			if err != nil {
				return err
			}
			if foundPath != "" {
				if in.AsFound, err = loadImage(foundPath, fileFormat, in.Layout); err != nil {
					return err
				}
			}
			if in.Job, err = numberFacts(numbers); err != nil {
				return err
			}
			in.MeantGiven, in.Meant = cmd.Flags().Changed("meant"), meant
			if table != "" && in.Layout.ByID[table] == nil && (in.CandidateLayout == nil || in.CandidateLayout.ByID[table] == nil) {
				return fmt.Errorf("--table %s: definition %s has no such table", table, in.Layout.Name)
			}
			recorded, err := runOf(runPath, channels)
			if err != nil {
				return err
			}
			if recorded != nil {
				in.Run = recorded.ForRules(recorded.SHA256)
			}
			report, err := compare.Compare(in)
			if err != nil {
				return err
			}
			if in.AsFound != nil && report.GetAsFound() == nil {
				fmt.Fprintf(a.errOut, "witnessmark: --as-found %s: it is the base, or of another software, and is left out\n", client.OneLine(foundPath))
			}
			a.saidNo = !anyVerdict && severity.Of(report.GetVerdict()).AtLeast(severity.Caution)
			o := sheet.Options{Layout: in.Layout, CandidateLayout: in.CandidateLayout,
				Base: in.Base.Bytes, Candidate: in.Candidate.Bytes, Table: table, Width: a.width()}
			if recorded != nil {
				o.Visited = sheet.Visits(report, candidateLayout(in), in.Candidate.Bytes, []*run.Run{recorded.Run})
			}
			return a.printReport(report, o)
		},
	}
	f := c.Flags()
	f.StringVar(&defPath, "definition", "", "definition file (required)")
	f.StringVar(&candidateDef, "definition-candidate", "", "definition file of the candidate, where it has its own")
	f.StringVar(&limPath, "limits", "", "limits file")
	f.StringSliceVar(&meant, "meant", nil, "tables that were meant to change, separated by commas")
	f.StringVar(&fileFormat, "file-format", "", formatUsage+"; "+byContent)
	f.StringVar(&foundPath, "as-found", "", "the image that the car first came with: says how far changed tables are from there")
	f.StringVar(&table, "table", "", "show this changed table whole")
	f.StringVar(&runPath, "run", "", "a run on the rolling road: judges covers, and says which changed cells it visited")
	f.StringArrayVar(&numbers, "number", nil, numberUsage)
	f.StringVar(&channels, "channels", "", "channel file of the run, where its headers are others")
	f.BoolVar(&anyVerdict, "any-verdict", false, "end with 0 whatever the verdict")
	_ = c.MarkFlagRequired("definition")
	return c
}

// runOf reads the run of a comparison; nil where none is given.
func runOf(path, channels string) (*client.RecordedRun, error) {
	if path == "" && channels != "" {
		return nil, fmt.Errorf("--channels says what a run's headers are, and there is no --run")
	}
	if path == "" {
		return nil, nil
	}
	return client.ReadRun(path, channels)
}

// candidateLayout is where the candidate's tables are.
func candidateLayout(in compare.Input) *definition.Layout {
	if in.CandidateLayout != nil {
		return in.CandidateLayout
	}
	return in.Layout
}

// comparison loads what compare needs.
func comparison(base, candidate, defPath, candidateDef, limPath, fileFormat string) (compare.Input, error) {
	var in compare.Input
	var err error
	if in.Layout, err = loadDefinition(defPath); err != nil {
		return in, err
	}
	lay := in.Layout
	if candidateDef != "" {
		if in.CandidateLayout, err = loadDefinition(candidateDef); err != nil {
			return in, err
		}
		lay = in.CandidateLayout
	}
	if in.Limits, err = loadLimits(limPath); err != nil {
		return in, err
	}
	if in.Base, err = loadImage(base, fileFormat, in.Layout); err != nil {
		return in, err
	}
	in.Candidate, err = loadImage(candidate, fileFormat, lay)
	return in, err
}

// printReport prints a report in the format that was asked for.
func (a *app) printReport(r *calibrationv1.Report, o sheet.Options) error {
	if a.format == "csv" {
		return printed.CSV(a.out, r)
	}
	return a.print(r, func(w io.Writer) error { return sheet.Write(w, r, o) })
}
