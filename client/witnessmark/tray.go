package main

import (
	"context"
	"fmt"
	"io"
	"math"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/store/record"
)

func newTrayCommand(a *app) *cobra.Command {
	var most int
	var watch bool
	var program string
	cmd := &cobra.Command{
		Use:   "tray [--most N] [--watch [--exec PROGRAM]]",
		Short: "What waits for you: alarms first, then the worst, then what has waited longest",
		Long: "What waits for you: alarms first, then the worst, then what has waited longest.\n\n" +
			"The exit status is 1 if there is an alarm. With --watch it goes on, and says what is new until Ctrl-C.\n" +
			"--exec runs a program for each new alarm and each new thing that waits, with that as JSON on its input:\n" +
			`{"alarm": …} or {"wait": …}. A program that fails is said, and one that takes longer than a minute ended.`,
		Args: cobra.NoArgs,
	}
	mostFlag(cmd, &most)
	cmd.Flags().BoolVar(&watch, "watch", false, "go on, and say what is new")
	cmd.Flags().StringVar(&program, "exec", "", "with --watch: a program to run for each new event")
	cmd.RunE = a.looks(func(ctx context.Context, c *client.Client, _ []string) error {
		if program != "" && !watch {
			return usage("--exec goes with --watch")
		}
		if watch {
			w, err := newWatcher(a, c, program)
			if err != nil {
				return err
			}
			return w.run(ctx, most)
		}
		t, err := c.Tray(ctx, most)
		if err != nil {
			return err
		}
		a.saidNo = len(t.Alarms) > 0
		return a.printTray(t)
	})
	return cmd
}

// mostFlag adds --most to a command that lists.
func mostFlag(cmd *cobra.Command, most *int) {
	cmd.Flags().IntVar(most, "most", client.UsualPage, "how many at most")
}

func (a *app) printTray(t *client.Tray) error {
	if a.json() {
		return a.printJSON(t, nil)
	}
	for _, al := range t.Alarms {
		fmt.Fprintln(a.out, alarmLine(al))
	}
	if len(t.Waits) == 0 {
		_, err := fmt.Fprintln(a.out, "nothing waits for you")
		return err
	}
	rows := [][]string{{"WAITS FOR YOU", "CAR", "VERDICT", "SINCE", ""}}
	for _, w := range t.Waits {
		rows = append(rows, []string{waitText(w), client.OneLine(w.Plate), w.Verdict, w.Since, saysOf(w)})
	}
	if err := columns(a.out, rows); err != nil {
		return err
	}
	return more(a.out, t.More, "")
}

// more says how much of a list is left out.
func more(w io.Writer, n int, of string) error {
	if n == 0 {
		return nil
	}
	_, err := fmt.Fprintf(w, "and %d more%s: --most N shows more\n", n, of)
	return err
}

func waitText(w client.Wait) string {
	return record.Wait{What: w.Waits, Of: w.Of}.String()
}

func saysOf(w client.Wait) string {
	if w.Finding == "" {
		return client.OneLine(w.Says)
	}
	return client.OneLine(w.Says) + "; " + client.OneLine(w.Finding)
}

// alarmLine is an alarm with its car, as the tray has it.
func alarmLine(al client.Alarm) string {
	return fmt.Sprintf("ALARM %s %s, car %s, since %s: %s", al.About, al.Alarm, client.OneLine(al.Plate), al.Since, client.OneLine(al.Says))
}

// everything is a page that leaves nothing out.
const everything = math.MaxInt
