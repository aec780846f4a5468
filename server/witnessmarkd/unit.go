package main

import (
	_ "embed"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"
)

// systemUnit is the daemon's unit where systemd runs it for the machine.
//
//go:embed witnessmarkd.service
var systemUnit string

func unitCommand() *cobra.Command {
	var dir, listen string
	c := &cobra.Command{
		Use:   "unit --data DIR --listen HOST:PORT",
		Short: "print the systemd unit of a person's own daemon",
		Long: `Print the unit by which systemd runs this program for the person who is logged in: it is for
~/.config/systemd/user/witnessmarkd.service. It is the machine's own unit without what only the machine's manager can do.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			own, err := os.Executable()
			if err != nil {
				return err
			}
			if dir, err = filepath.Abs(dir); err != nil {
				return err
			}
			text, err := userUnit(own, "serve", "--data", dir, "--listen", listen)
			if err != nil {
				return err
			}
			_, err = fmt.Fprint(c.OutOrStdout(), text)
			return err
		},
	}
	c.Flags().StringVar(&dir, "data", "", "the server's folder")
	c.Flags().StringVar(&listen, "listen", "", "HOST:PORT")
	_ = c.MarkFlagRequired("data")
	_ = c.MarkFlagRequired("listen")
	return c
}

// forPerson are the settings of the machine's unit that a person's manager can do too: limits, and what the kernel refuses a process
// that may gain nothing. The others need other users, other views of the disk, or capabilities.
var forPerson = strings.Fields(`Description StartLimitIntervalSec StartLimitBurst Restart RestartSec TimeoutStopSec UMask
	LimitNOFILE MemoryMax TasksMax NoNewPrivileges RestrictAddressFamilies RestrictNamespaces RestrictRealtime RestrictSUIDSGID LockPersonality
	MemoryDenyWriteExecute SystemCallArchitectures SystemCallFilter SystemCallErrorNumber`)

// userUnit is the machine's unit as a person's, with another command line.
func userUnit(command ...string) (string, error) {
	for i, word := range command {
		if strings.ContainsFunc(word, func(r rune) bool { return r < ' ' || r == 0x7f }) {
			return "", fmt.Errorf("%q cannot stand in a unit; allowed is what has no control characters", word)
		}
		command[i] = `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, `%`, `%%`, `$`, `$$`).Replace(word) + `"`
	}
	var out strings.Builder
	for line := range strings.Lines(systemUnit) {
		name, _, setting := strings.Cut(line, "=")
		switch {
		case strings.HasPrefix(line, "#"):
		case name == "ExecStart":
			fmt.Fprintf(&out, "ExecStart=%s\n", strings.Join(command, " "))
		case name == "WantedBy":
			out.WriteString("WantedBy=default.target\n")
		case !setting && line != "\n" || slices.Contains(forPerson, name):
			if strings.HasPrefix(line, "[") && out.Len() > 0 {
				out.WriteString("\n")
			}
			out.WriteString(line)
		}
	}
	return out.String(), nil
}
