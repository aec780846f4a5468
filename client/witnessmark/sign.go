package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/client/sheet"
)

func newSignCommand(a *app) *cobra.Command {
	var because []string
	cmd := &cobra.Command{
		Use:   "sign JOB.N [--because KEY=TEXT]…",
		Short: "Sign off a submission of somebody else's, with a reason for each warning",
		Args:  takes(1),
		RunE: a.acts(func(ctx context.Context, c *client.Client, args []string) error {
			reasons, err := parseReasons(because)
			if err != nil {
				return err
			}
			r, err := review(ctx, c, args[0])
			if err != nil {
				return err
			}
			var ask client.Reasons
			if a.terminal() {
				if err := sheet.Write(a.errOut, r.Report, a.sheetOf(c, r)); err != nil {
					return err
				}
				ask = func(key, question string) (string, error) {
					return a.ask(fmt.Sprintf("%s  %s\nyour reason (%s): ", key, question, forEver))
				}
			}
			s, err := c.SignOff(ctx, r, reasons, ask)
			if err != nil {
				return err
			}
			return a.line(s, "signed %s (%s), sha256 %s", client.Name(s), s.SignOff.GetJudgement().GetVerdict(), s.Image.GetSha256())
		}),
	}
	cmd.Flags().StringArrayVar(&because, "because", nil,
		"KEY=TEXT, KEY being RULE:TABLE or RULE; in a one-person workshop "+client.ByAuthor+"=TEXT says why the author signs; "+forEver)
	return cmd
}

func parseReasons(list []string) (map[string]string, error) {
	out := map[string]string{}
	for _, s := range list {
		key, text, ok := strings.Cut(s, "=")
		if !ok || key == "" || strings.TrimSpace(text) == "" {
			return nil, usage("--because %q: must be KEY=TEXT", s)
		}
		if _, twice := out[key]; twice {
			return nil, usage("--because: %s is given twice", key)
		}
		out[key] = text
	}
	return out, nil
}
