package run

import (
	"io"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// Read reads a run from CSV. Errors name file, line and column.
func Read(name string, r io.Reader, channels *calibrationv1.ChannelMap) (*Run, error) {
	panic("contract only")
}

// Values are a channel's samples in its unit; false where the run has no such channel.
func (r *Run) Values(quantity string) ([]float32, bool) { panic("contract only") }

// Unit is the unit of a channel; empty where there is none.
func (r *Run) Unit(quantity string) string { panic("contract only") }

// Duration is the time from the first sample to the last, s.
func (r *Run) Duration() float64 { panic("contract only") }

// FindSweep is the longest steady rise of engine speed.
func FindSweep(r *Run) (Sweep, error) { panic("contract only") }

// MakeCurve is torque and power over engine speed on the sweep.
func MakeCurve(r *Run, s Sweep, o Options) (*Curve, error) { panic("contract only") }

// Weather is the run's own, the mean over its length; the error names the channel that lacks.
func (r *Run) Weather() (Weather, error) { panic("contract only") }

// ParseStandard reads a --correction flag.
func ParseStandard(s string) (Standard, error) { panic("contract only") }

// Correct works out the factor for a weather.
func Correct(std Standard, w Weather, anyway bool) (Correction, error) { panic("contract only") }

// Quality says what is doubtful.
func Quality(r *Run, s Sweep, c *Curve) []Remark { panic("contract only") }

// Compare is the gain of after over before; low and high are the band, 0 and 0 the whole common speed range.
func Compare(before, after []*Curve, low, high float64) (*Gain, error) { panic("contract only") }

// DwellIn is the time spent in each cell of a table of an image. The error says which axis is no channel of the run.
func DwellIn(r *Run, t *definition.Table, image []byte) (*Dwell, error) { panic("contract only") }
