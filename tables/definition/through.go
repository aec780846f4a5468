package definition

import "witnessmark/tables/units"

// throughCurve turns the values of the curve that an axis is looked up through into the axis's unit. Where one of them has
// none, numbers are what they are.
func throughCurve(axis *Axis) (units.Converter, error) {
	if axis.Unit == "" || axis.By.Unit == "" {
		return units.Converter{Factor: 1}, nil
	}
	return units.BetweenQuantities(axis.By.Quantity, axis.By.Unit, axis.Quantity, axis.Unit)
}
