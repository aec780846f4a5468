package run

import "math"

// Vapour is the pressure of saturated water vapour in kPa at a temperature in Cel: over ice
// below the freezing point and over water above it (R. W. Hyland and A. Wexler, ASHRAE
// Transactions 89-2A (1983) 500, as the ASHRAE Handbook of Fundamentals prints it), for -100 to
// 200 Cel; the constants were checked against ASHRAE's table in the tests.
func Vapour(celsius float64) float64 {
	t := celsius + 273.15
	var ln float64
	if celsius < 0 {
		ln = -5.6745359e3/t + 6.3925247 + float64(-9.677843e-3*t) + float64(6.2215701e-7*t*t) +
			float64(2.0747825e-9*t*t*t) + float64(-9.484024e-13*t*t*t*t) + float64(4.1635019*math.Log(t))
	} else {
		ln = -5.8002206e3/t + 1.3914993 + float64(-4.8640239e-2*t) + float64(4.1764768e-5*t*t) +
			float64(-1.4452093e-8*t*t*t) + float64(6.5459673*math.Log(t))
	}
	return math.Exp(ln) / 1000
}
