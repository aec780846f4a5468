package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

func newPersonCommand(a *app) *cobra.Command {
	return group("person", "Who is enrolled", newPersonInvite(a), newPersonEnrol(a), newPersonRetire(a), &cobra.Command{
		Use:   "list",
		Short: "Everybody there ever was",
		Args:  cobra.NoArgs,
		RunE: a.looks(func(_ context.Context, c *client.Client, _ []string) error {
			people, err := c.People()
			if err != nil {
				return err
			}
			return a.print(&servicev1.PeopleListResponse{People: people}, func(w io.Writer) error { return writePeople(w, people) })
		}),
	})
}

func newPersonRetire(a *app) *cobra.Command {
	var compromised, yes bool
	cmd := &cobra.Command{
		Use:   "retire NAME [--compromised] [--yes]",
		Short: "End a person's part; says what that ends, and asks at a terminal",
		Args:  takes(1),
		RunE: a.acts(func(ctx context.Context, c *client.Client, args []string) error {
			ends, err := c.Retiring(args[0])
			if err != nil {
				return err
			}
			for _, line := range endingText(ends, compromised) {
				a.aside("", line)
			}
			if !yes {
				if err := a.confirmed("retire " + ends.Person.GetName() + "?"); err != nil {
					return err
				}
			}
			p, err := c.Retire(ctx, args[0], compromised)
			if err != nil {
				return err
			}
			return a.line(p, "retired %s", p.Name)
		}),
	}
	cmd.Flags().BoolVar(&compromised, "compromised", false, "the key may be in other hands: void the releases that rest on it and that nobody has collected")
	cmd.Flags().BoolVar(&yes, "yes", false, "do not ask")
	return cmd
}

// endingText says what retiring ends.
func endingText(e *client.Ending, compromised bool) []string {
	lines := []string{fmt.Sprintf("%s (%s) signs and sees nothing more from then on; what they signed stays", client.OneLine(e.Person.GetName()), strings.Join(e.Person.GetRoles(), ", "))}
	if len(e.Waiting) > 0 {
		lines = append(lines, "their submissions go on waiting: "+strings.Join(e.Waiting, ", "))
	}
	switch {
	case len(e.Void) == 0:
	case compromised:
		lines = append(lines, "these releases rest on their key, and wait again: "+strings.Join(e.Void, ", "))
	default:
		lines = append(lines, "these releases rest on their key, and can still be collected: "+strings.Join(e.Void, ", ")+"; --compromised voids them")
	}
	return lines
}

func writePeople(w io.Writer, people []*recordv1.Person) error {
	rows := [][]string{{"NAME", "ROLES", "KEY", ""}}
	for _, p := range people {
		state := ""
		if p.Retired {
			state = "retired"
		}
		if p.Compromised {
			state = "retired, key compromised"
		}
		rows = append(rows, []string{client.OneLine(p.Name), strings.Join(p.Roles, ","), p.GetKeyId(), state})
	}
	return columns(w, rows)
}
