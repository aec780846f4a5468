package record

import "testing"

// TestCorridorsHeldToACarelessDay: what somebody took back, and what is in the car in place of what stays, no corridor makes good.
func TestCorridorsHeldToACarelessDay(t *testing.T) {
	for _, c := range []struct{ name, script string }{
		{"what was recalled is not released again by being submitted again", oneJob + `
			L opens-corridor 1 C,D
			C submits 1 one
			T returns 1.1
			C submits 1 one
			= 1.2 waiting
			D submits 1 one verdict=notice
			= 1.3 waiting
			C submits 1 two
			= 1.4 released
			T closes-corridor 1 1
			L opens-corridor 1 C
			C submits 1 one
			= 1.5 waiting
			L signs 1.5
			= 1.5 released`},
		{"whoever has an author's key is not the author", oneJob + `
			L enrols M lead
			L opens-corridor 1 C,D
			C submits 1 one
			C submits 1 two
			C submits 1 three
			D submits 1 four
			T collects 1.1
			M signs 1.2
			L retires C compromised
			= 1.1 released
			= 1.2 released
			= 1.3 waiting
			= 1.4 released
			= covers 1 1
			T collects 1.3 ! state
			L signs 1.3
			T collects 1.3`},
		{"an author who was given another key and then lost that", oneJob + `
			L opens-corridor 1 C
			C submits 1 one
			L enrols C calibrator pub=C2
			C submits 1 two
			L retires C compromised
			= 1.1 released
			= 1.2 waiting`},
		{"one that was replaced is found in the car", oneJob + `
			L opens-corridor 1 C
			C submits 1 one
			C submits 1 two
			T collects 1.1
			T reads-back 1.1 one
			T collects 1.2
			T closes-corridor 1 1 keep=2
			= alarms 1 corridor-only:1.2 not-read-back:1.2
			# the write did not take
			T reads-back 1.1 one
			= alarms 1 corridor-only:1.1 corridor-only:1.2
			L signs 1.2
			= alarms 1 corridor-only:1.1
			T collects 1.2
			= alarms 1 not-read-back:1.2
			T reads-back 1.2 two
			= alarms 1`},
		{"and the car goes back to as found", oneJob + `
			L opens-corridor 1 C
			C submits 1 one
			C submits 1 two
			T collects 1.1
			T collects 1.2
			T closes-corridor 1 1 keep=2
			T reads-back 1.1 one
			T closes 1 done
			= alarms 1 corridor-only:1.1 corridor-only:1.2
			T opens AB-1
			T reads 2 found differs
			= alarms 1`},
		{"of what nobody signed, the one collected last stands for all until something is read back", oneJob + `
			L opens-corridor 1 C
			C submits 1 one
			C submits 1 two
			C submits 1 three
			T collects 1.1
			T collects 1.2
			T collects 1.3
			T closes 1 done
			= alarms 1 corridor-only:1.3 not-read-back:1.3
			T reopens 1
			T collects 1.0
			= alarms 1 corridor-only:1.3 not-read-back:1.read1
			T collects 1.3
			L signs 1.3
			= alarms 1 corridor-only:1.2 not-read-back:1.3
			T reads-back 1.3 bad differs
			= alarms 1 corridor-only:1.1 corridor-only:1.2 readback-differs:1.back1
			T reads-back 1.3 three
			= alarms 1`},
		{"another job's file was written since", oneJob + `
			L opens-corridor 1 C
			C submits 1 one
			T collects 1.1
			= in 1 1.1
			T opens AB-1
			T reads 2 found
			C submits 2 more
			L signs 2.1
			T collects 1.1
			T collects 2.1
			= in 1 unknown
			= in 2 2.1
			T collects 1.1
			= in 1 1.1
			= in 2 unknown`},
	} {
		t.Run(c.name, func(t *testing.T) { replays(t, newHistory(t, false).script(c.script)) })
	}
}
