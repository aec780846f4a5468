package demo

import "math"

// The engine of the demo is invented: 1.8 l, four cylinders, one turbocharger with a larger
// compressor wheel and intercooler, 98 RON. The numbers below are common practice for such an
// engine, without a source; the formulas give them an engine's shape.

// breakpoints of the stored axes, in physical units.
var breakpoints = map[string][]float64{
	"rpm18":    {600, 900, 1200, 1500, 1800, 2100, 2500, 3000, 3500, 4000, 4500, 5000, 5500, 6000, 6300, 6600, 6900, 7200},
	"rpm8":     {1000, 1500, 2200, 3000, 4000, 5000, 6000, 7000},
	"load14":   {20, 30, 40, 50, 60, 70, 85, 100, 120, 140, 160, 180, 200, 220},
	"pedal10":  {0, 5, 10, 20, 30, 40, 55, 70, 85, 100},
	"coolant8": {-32, -16, 0, 20, 40, 60, 80, 104},
	"intake8":  {-20, 0, 20, 32, 40, 52, 64, 88},
	"battery6": {8, 10, 11, 12, 14, 16},

	"lambda.protect.exhaust":  {700, 800, 860, 900, 940, 1000},
	"wastegate.duty.pressure": {100, 120, 140, 160, 180, 200},
	"airflow.transfer.volts":  steps(1, 0.17, 24),
}

func steps(first, step float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = first + step*float64(i)
	}
	return out
}

// formulas give each table's value at its breakpoints, in its unit. An axis that a table lacks is 0.
var formulas = map[string]func(x, y float64) float64{
	"ignition.base":      func(rpm, load float64) float64 { return ignition(rpm, load) },
	"ignition.98":        func(rpm, load float64) float64 { return ignition(rpm, load) + 1.5*ramp(load, 85, 120) },
	"ignition.intake":    func(t, _ float64) float64 { return 0.6 - 0.13*max(0, t-25) },
	"ignition.coolant":   func(t, _ float64) float64 { return 3*ramp(60-t, 0, 60) - 4.5*ramp(t, 85, 105) },
	"knock.retard_limit": func(rpm, _ float64) float64 { return -9 - 3*ramp(rpm, 2000, 5000) },
	"knock.threshold":    func(rpm, _ float64) float64 { return 2.2 + 0.9*ramp(rpm, 1500, 6000) },
	"ignition.dwell":     func(volts, _ float64) float64 { return 2.9 * math.Pow(14/volts, 1.25) },
	"boost.target":       func(rpm, pedal float64) float64 { return 100 + 85*spool(rpm)*math.Pow(pedal/100, 1.5)*fade(rpm) },
	"boost.cut":          func(rpm, _ float64) float64 { return 206 + 16*spool(rpm) },
	"boost.gear":         func(gear, _ float64) float64 { return []float64{0, 160, 180, 195, 210, 210, 210}[int(gear)] },
	"boost.intake":       func(t, _ float64) float64 { return 1 - 0.0045*max(0, t-38) },
	"boost.gain":         func(rpm, _ float64) float64 { return 0.35 + 0.9*math.Exp(-rpm/2500) },
	"boost.overshoot":    func(rpm, _ float64) float64 { return 22 - 6*ramp(rpm, 2500, 6000) },
	"wastegate.duty":     func(rpm, kpa float64) float64 { return 8 + 0.66*(kpa-100)*(0.8+0.2*rpm/7000) },
	"lambda.target":      lambda,
	"lambda.protect":     func(t, _ float64) float64 { return 1 - 0.2*ramp(t, 840, 980) },
	"airflow.transfer":   func(volts, _ float64) float64 { return 6.02 + 700*math.Pow((volts-0.9)/4, 2.6) },
	"injector.flow":      func(_, _ float64) float64 { return 375 },
	"injector.deadtime":  func(volts, _ float64) float64 { return 0.68 * math.Pow(14/volts, 1.8) },
	"fuel.cranking":      func(t, _ float64) float64 { return 6 + 44*math.Exp(-(t+30)/32) },
	"fuel.warmup":        func(t, _ float64) float64 { return 1 + 0.42*ramp(81-t, 0, 111) },
	"torque.limit":       func(rpm, _ float64) float64 { return 150 + 165*spool(rpm) - 62*ramp(rpm, 5200, 7200) },
	"torque.gear":        func(rpm, gear float64) float64 { return gearTorque(gear) - 34*ramp(rpm, 5500, 7500) },
	"torque.friction":    func(rpm, t float64) float64 { return -(8.04 + 0.0021*rpm + 9*ramp(60-t, 0, 90)) },
	"pedal.map":          func(rpm, pedal float64) float64 { return 100 * math.Pow(pedal/100, 1.12+0.00008*rpm) },
	"idle.speed":         func(t, _ float64) float64 { return 842 + 360*ramp(81-t, 0, 111) },
	"cam.intake":         cam,
	"limiter.soft":       func(_, _ float64) float64 { return 6800 },
	"limiter.hard":       func(_, _ float64) float64 { return 7000 },
	"limiter.hard.check": func(_, _ float64) float64 { return 7000 },
	"limiter.vehicle":    func(_, _ float64) float64 { return 240 },
	"fan.on":             func(_, _ float64) float64 { return 96 },
	"fan.off":            func(_, _ float64) float64 { return 88 },
	"protect.exhaust":    func(_, _ float64) float64 { return 940 },
	"diagnosis.misfire":  func(rpm, _ float64) float64 { return 14 - 8*ramp(rpm, 1500, 6500) },
	"option.knock":       func(_, _ float64) float64 { return 1 },
	"option.launch":      func(_, _ float64) float64 { return 0 },
	"option.grade":       func(_, _ float64) float64 { return 1 },
	"immobiliser.mode":   func(_, _ float64) float64 { return 1 },
}

// ramp rises from 0 at a to 1 at b, and stays there.
func ramp(v, a, b float64) float64 { return min(1, max(0, (v-a)/(b-a))) }

// spool is how far the turbocharger has come up with speed.
func spool(rpm float64) float64 { return 1 / (1 + math.Exp(-(rpm-2150)/330)) }

// fade takes boost back where the compressor nears its largest flow.
func fade(rpm float64) float64 { return 1 - 0.2*ramp(rpm, 5500, 7200) }

// ignition falls with load, where knock comes before the best torque does, and rises with
// speed, since the flame has less time.
func ignition(rpm, load float64) float64 {
	return 12 + 23.9*(1-math.Exp(-rpm/2500)) - 0.159*max(0, load-40)
}

// lambda is stoichiometric until the exhaust has to be kept cool.
func lambda(rpm, load float64) float64 {
	return 1 - 0.00155*max(0, load-100) - 0.022*ramp(rpm, 4000, 7000)*ramp(load, 100, 140)
}

// cam advances the intake in the middle of the map and leaves idle and full speed alone.
func cam(rpm, load float64) float64 {
	return 32 * ramp(rpm, 900, 2200) * (1 - ramp(rpm, 4200, 7200)) * ramp(load, 20, 85) * (1 - 0.3*ramp(load, 120, 200))
}

func gearTorque(gear float64) float64 { return []float64{0, 220, 260, 295, 315, 315, 315}[int(gear)] }
