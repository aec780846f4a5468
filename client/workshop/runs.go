package workshop

import "witnessmark/client"

// Runs is what starts the daemon that a workshop's folder began, where it does not answer; empty where it began none.
func Runs(home *client.Home) string {
	switch p, err := planIn(home); {
	case p == nil || err != nil:
		return ""
	case p.Unit != "":
		return "systemctl --user restart " + unitName
	}
	return "witnessmark desk, which runs it as well"
}
