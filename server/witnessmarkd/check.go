package main

import (
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"witnessmark/server"
)

func checkCommand() *cobra.Command {
	var p server.Place
	c := &cobra.Command{
		Use:   "check {--data DIR | --database URL}",
		Short: "make everything again from entries and blobs, and compare; no server may run on the folder",
		Long: `Make everything again from entries and blobs, and compare it with what is there.

A server must not be running on the folder. A database is looked at as it is at one moment, whoever
serves it meanwhile.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			out, err := p.Check()
			if err != nil {
				return err
			}
			w := c.OutOrStdout()
			tell(w, out)
			tellOfKey(w, p.Dir, out)
			if len(out.Found) > 0 {
				return errNo
			}
			_, err = fmt.Fprintln(w, out.Fingerprint)
			return err
		},
	}
	placeFlags(c, &p, true)
	return c
}

// tell says what a check found.
func tell(w io.Writer, out *server.Checked) {
	for _, line := range out.Found {
		fmt.Fprintln(w, line)
	}
	said := "all is well"
	if len(out.Found) > 0 {
		said = fmt.Sprintf("%d faults", len(out.Found))
	}
	fmt.Fprintf(w, "%d entries and %d blobs looked at: %s\n", out.Entries, out.Blobs, said)
	if out.Passed > 0 {
		fmt.Fprintf(w, "what %d actions say could not be made again in whole: it rests on what was erased\n", out.Passed)
	}
	if out.Earlier > 0 {
		fmt.Fprintf(w, "what %d actions say was judged by earlier rules of comparing: it was held to their own reports\n", out.Earlier)
	}
	if at, err := time.Parse(time.RFC3339, out.At); err == nil {
		fmt.Fprintf(w, "head %s, admitted at %s, %s ago\n", out.Head, out.At, age(time.Since(at)))
	}
}

// tellOfKey says where a folder lacks the server's key; a database that is looked at without one says nothing of it.
func tellOfKey(w io.Writer, dir string, out *server.Checked) {
	if out.NoKey && dir != "" {
		fmt.Fprintf(w, "the server's key is not in %s: the ledger can be looked at there, and not be served from it\n", dir)
	}
}

// age is a time in the largest unit that it has at least two of.
func age(d time.Duration) string {
	switch hours := int(d.Hours()); {
	case hours >= 48:
		return fmt.Sprintf("%d days", hours/24)
	case hours >= 2:
		return fmt.Sprintf("%d hours", hours)
	}
	return fmt.Sprintf("%d minutes", max(0, int(d.Minutes())))
}
