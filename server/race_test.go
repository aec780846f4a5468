//go:build race

package server

const underRace = true
