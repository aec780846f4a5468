//go:build race

package desk

const underRace = true
