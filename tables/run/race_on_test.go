//go:build race

package run

// raceEnabled shortens tests that only count: the race detector makes them ten times as slow.
const raceEnabled = true
