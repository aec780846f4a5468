package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

func newPersonEnrol(a *app) *cobra.Command {
	var roles, key, line string
	var yes bool
	cmd := &cobra.Command{
		Use:   "enrol {NAME --role technician|calibrator|lead[,…] --key PUBFILE | --line 'LINE' [--role …] [--yes]}",
		Short: "Enrol a person, or give one a new key; --line takes the introduction that join printed, and asks at a terminal",
		Args: func(_ *cobra.Command, args []string) error {
			switch {
			case line != "" && (len(args) > 0 || key != ""):
				return usage("the line says name and key; allowed beside it are --role and --yes")
			case line == "" && (len(args) != 1 || key == "" || roles == ""):
				return usage("enrol takes NAME, --role and --key, or --line 'LINE'")
			}
			return nil
		},
		RunE: a.acts(func(ctx context.Context, c *client.Client, args []string) error {
			var p *recordv1.Person
			var err error
			if line != "" {
				p, err = a.enrolIntroduced(ctx, c, line, client.SplitList(roles), yes)
			} else if err = a.alike(c, args[0]); err == nil {
				p, err = c.Enrol(ctx, args[0], client.SplitList(roles), key)
			}
			if err != nil {
				return err
			}
			return a.line(p, "enrolled %s (%s) with %s", p.Name, strings.Join(p.Roles, ", "), p.GetKeyId())
		}),
	}
	cmd.Flags().StringVar(&roles, "role", "", "technician, calibrator, lead; several with commas; with --line, those that it asks for where left out")
	cmd.Flags().StringVar(&key, "key", "", "the person's public key file")
	cmd.Flags().StringVar(&line, "line", "", "the person's introduction, as they sent it")
	cmd.Flags().BoolVar(&yes, "yes", false, "do not ask")
	return cmd
}

func (a *app) enrolIntroduced(ctx context.Context, c *client.Client, line string, roles []string, yes bool) (*recordv1.Person, error) {
	i, err := client.ParseIntroduction(line)
	if err != nil {
		return nil, err
	}
	if len(roles) > 0 {
		i.Roles = roles
	}
	who, err := c.Introduced(i)
	if err != nil {
		return nil, err
	}
	a.aside("", fmt.Sprintf("%s (%s) with the key %s, which %s reads to you from their own screen", i.Name, strings.Join(i.Roles, ", "), who.KeyID, i.Name))
	if p := who.Before; p != nil {
		a.aside("", fmt.Sprintf("%s is there already (%s) with the key %s; this takes the place of that", p.GetName(), strings.Join(p.GetRoles(), ", "), p.GetKeyId()))
	}
	if err := a.alike(c, i.Name); err != nil {
		return nil, err
	}
	if !yes {
		if err := a.confirmed("enrol " + i.Name + "?"); err != nil {
			return nil, err
		}
	}
	return c.EnrolIntroduced(ctx, i)
}

// alike says whom a name can be mistaken for.
func (a *app) alike(c *client.Client, name string) error {
	alike, err := c.Alike(name)
	for _, other := range alike {
		a.say(fmt.Sprintf("%s can be mistaken for %s, who is there already", name, other))
	}
	return err
}
