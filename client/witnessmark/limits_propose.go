package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/proposed"
)

// newLimitsPropose writes limits to start from.
func newLimitsPropose(a *app) *cobra.Command {
	var defined, imagePath, fileFormat string
	var fuel []string
	var out client.Out
	c := &cobra.Command{
		Use:   "propose --definition FILE|NAME [--image IMAGE] [--fuel TEXT] [--out FILE]",
		Short: "Write limits to start from, by what a definition says of its tables (a file needs no server)",
		Long: "Write limits to start from, by the quantities and roles of a definition's tables; to standard output without --out. Every rule is\n" +
			"a caution and says of itself that it is " + proposed.Mark + ": read them, and put your own\n" +
			"numbers in. With an image also how smooth its tables are, and no rule that it breaks itself. Checksums, identity, the order of axes and\n" +
			"what else compare looks at in any case have no rule. What no rule looks at is said beside the answer.\n\n" +
			"Exit status: 0 a rule looks at every table; 1 none does at some; 2 nothing was written.",
		Args: cobra.NoArgs,
	}
	f := c.Flags()
	outFlags(c, &out.Path, &out.Replace)
	f.StringVar(&defined, "definition", "", "definition file, or the name of one that the workshop has (required)")
	f.StringVar(&imagePath, "image", "", "an image that the definition is for, as it came out of the car")
	f.StringVar(&fileFormat, "file-format", "", "of the image: "+formatUsage+"; "+byContent)
	f.StringArrayVar(&fuel, "fuel", nil, "a fuel that the limits are for, such as \"98 RON\"; may be repeated")
	c.RunE = func(cmd *cobra.Command, args []string) error {
		write := func(lay *definition.Layout) error {
			var im *image.Image
			var err error
			if imagePath != "" {
				if im, err = loadImage(imagePath, fileFormat, lay); err != nil {
					return err
				}
			}
			p, err := proposed.Limits(lay, im, fuel)
			if err != nil {
				return err
			}
			out.Given = []string{defined, imagePath}
			return a.writeProposal(p, out)
		}
		if _, err := os.Lstat(defined); err == nil || filepath.Base(defined) != defined || filepath.Ext(defined) == ".yaml" {
			lay, err := loadDefinition(defined)
			if err != nil {
				return err
			}
			return write(lay)
		}
		return a.looks(func(ctx context.Context, c *client.Client, _ []string) error {
			lay, err := c.JobLayout(ctx, &recordv1.Job{Definition: &recordv1.Revision{Name: defined}})
			if err != nil {
				return err
			}
			return write(lay)
		})(cmd, args)
	}
	return required(c, "definition")
}

func (a *app) writeProposal(p *proposed.Proposal, out client.Out) error {
	a.saidNo = len(p.Silent) > 0
	var err error
	if out.Path != "" {
		err = out.Write(p.File)
	} else {
		_, err = a.out.Write(p.File)
	}
	if err != nil {
		return err
	}
	if a.json() && out.Path != "" {
		return a.printJSON(map[string]any{"file": out.Path, "rules": len(p.Limits.GetRules()), "silent": append([]proposed.Silent{}, p.Silent...), "unkept": append([]string{}, p.Unkept...)}, nil)
	}
	for _, s := range p.Unkept {
		a.say(s)
	}
	for _, s := range p.Silent {
		a.say(s.String())
	}
	if out.Path != "" {
		_, err = fmt.Fprintf(a.out, "%s: %s, each %s\n", out.Path, counted(len(p.Limits.GetRules()), "rule"), proposed.Mark)
	}
	return err
}
