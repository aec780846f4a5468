package workshop

import (
	"strings"
	"testing"

	"witnessmark/client"
)

func TestRuns(t *testing.T) {
	home := &client.Home{Dir: t.TempDir()}
	for _, c := range []struct {
		plan *plan
		want string
	}{{nil, ""}, {&plan{Folder: "x", Listen: "127.0.0.1:1"}, "witnessmark desk"}, {&plan{Folder: "x", Listen: "127.0.0.1:1", Unit: "x/witnessmarkd.service"}, "systemctl --user restart witnessmarkd.service"}} {
		if c.plan != nil {
			if err := c.plan.write(home); err != nil {
				t.Fatal(err)
			}
		}
		if got := Runs(home); !strings.HasPrefix(got, c.want) || (got == "") != (c.want == "") {
			t.Errorf("%+v is started by %q, want %q", c.plan, got, c.want)
		}
	}
}
