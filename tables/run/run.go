// Package run reads what a rolling road recorded and works out what the car did: the sweep,
// torque and power over engine speed, the correction for the weather, what is doubtful about
// the run, what was gained, and which cells of a table the engine visited. It is pure.
package run

import "witnessmark/tables/definition"

// Channel is one recorded quantity, in the unit that its values are kept in.
type Channel struct {
	Header    string // as the file has it
	Quantity  string
	Unit      string // UCUM code; a known quantity's own unit, else the file's; kPa{gauge} where no barometer makes it absolute
	FromGauge bool   // recorded against ambient: the barometer was added
}

// Run is one recording: channels over time. It is not changed once it is read.
type Run struct {
	Name     string
	Channels []Channel // in file order, time left out
	Left     []string  // headers of columns that were not read
	Remarks  []Remark  // what is doubtful about the file
	Time     []float64 // s, rising
	values   [][]float32
	holes    []hole
	breaks   []int // rows at which the time began again
}

// Sweep is a steady rise of engine speed: samples From to To, To exclusive, of which Rows count.
type Sweep struct {
	From, To     int
	Low, High    float64   // 1/min, smoothed engine speed at the ends
	Begin, Until float64   // s
	Rows         []int     // without what lies between two parts, and without Wild
	Wild         []int     // whose engine speed disagrees with its neighbours
	Lifts        []float64 // 1/min, where the foot was lifted: it goes on from there
}

// Place says where torque was measured. Two places are never mixed.
type Place string

// Torque and power are at the crank; wheel_torque, wheel_power and tractive_force at the wheels.
const (
	Crank  Place = "crank"
	Wheels Place = "wheels"
)

// Point is one speed of a curve.
type Point struct {
	Speed     float64 // 1/min
	Torque    float64 // N.m
	Power     float64 // kW
	PlusMinus float64 // N.m, half width of the 95 per cent interval of Torque; 0 of a sample

	norm, bend float64 // of the fit: squares of its weights, what a wider one differs by
}

// Options say how a curve is made.
type Options struct {
	Place         Place    // "" is the first that the run has
	Ratio         float64  // engine to wheel speed, of wheel_torque; 0 is by the run's channels
	Circumference float64  // m, of what turns with wheel_torque, where the speed of the roller's face is recorded
	Step          float64  // 1/min between grid points; 0 is DefaultStep
	Correction    Standard // "" is None
	Weather       *Weather // nil: the run's own channels
	Anyway        bool     // correct outside the standard's range, and mark it
	Forced        bool     // the engine has forced induction: a note is made
}

// DefaultStep is the grid of a curve, 1/min.
const DefaultStep = 100

// Curve is torque and power over engine speed, corrected as Correction says.
type Curve struct {
	Run        string
	Place      Place
	From       string // the columns and figures that torque is made of
	Correction Correction
	Step       float64
	Points     []Point   // at multiples of Step, those without a sample near left out
	Raw        []Point   // the sweep's samples that count, corrected, as recorded
	LeftOut    []int     // rows whose torque disagrees with its neighbours
	Residuals  []float64 // N.m, of Raw: measured less fitted
	Spread     float64   // N.m, robust standard deviation of the residuals
	PeakTorque Point     // of the points that rest on enough samples
	PeakPower  Point

	wildest float64 // N.m, of LeftOut
	remarks []Remark
}

// Weather is the air that the engine was given.
type Weather struct {
	Pressure    float64  // kPa, absolute, of the ambient air
	Temperature float64  // Cel, of the air at the intake
	Humidity    *float64 // 0 to 1; nil where it was not recorded
}

// Standard is a correction to reference weather.
type Standard string

// The corrections.
const (
	None     Standard = "none"
	ISO1585  Standard = "iso1585"
	J1349    Standard = "j1349"
	DIN70020 Standard = "din70020"
)

// Correction is a factor and where it came from.
type Correction struct {
	Standard   Standard
	Title      string // the standard and its edition
	Formula    string
	Factor     float64
	Weather    *Weather // nil where none was applied
	Vapour     float64  // kPa, partial pressure of water; 0 where the standard has none
	Dry        float64  // kPa, pressure of the dry air; the total one of DIN 70020
	Low, High  float64  // validity of the factor
	OutOfRange bool     // it was asked for all the same
	PlusMinus  float64  // half width of what the factor is uncertain by
	Why        string   // what lies outside the range
	Notes      []string
}

// Remark is one doubt about a run, in words.
type Remark struct {
	Kind  string  // one word, such as spin, lump, short, points, correction, stuck, spike, lift, gap, time, unit, rows, column, implausible, place or losses
	Speed float64 // 1/min; 0 where it has no engine speed
	Text  string
}

// Dwell is the time that a run spent in each cell of a table.
type Dwell struct {
	Table   *definition.Table
	NX, NY  int
	Seconds []float64  // row-major [row*NX+col], as stored
	Below   [2]float64 // s, below the first breakpoint of x and of y; held at the end as well
	Above   [2]float64 // s
	Outside float64    // s, outside on any axis; part of Total
	Total   float64    // s, the sum of Seconds
	Points  []Outlier  // the furthest point outside, per axis and end
}

// Outlier is how far a run left an axis.
type Outlier struct {
	Axis    string  // x or y
	Value   float64 // in the axis' unit
	End     float64 // the axis' end that it passed
	Seconds float64
}
