package view

import (
	_ "embed"
	"fmt"
	"math"
	"strings"

	"witnessmark/tables/surface"
)

// steps is how many colours the scale has on either side of none.
const steps = 12

// rgb is a colour in sRGB, 0 to 255 each.
type rgb [3]float64

func (c rgb) String() string {
	return fmt.Sprintf("#%02x%02x%02x", int(math.Round(c[0])), int(math.Round(c[1])), int(math.Round(c[2])))
}

// ramp is one half of the scale: none, half and whole.
type ramp [3]rgb

// at is the colour at part 0 to 1 of the way.
func (r ramp) at(part float64) rgb {
	from, to, t := r[0], r[1], 2*part
	if part > .5 {
		from, to, t = r[1], r[2], 2*part-1
	}
	var out rgb
	for i := range out {
		out[i] = from[i] + float64((to[i]-from[i])*t)
	}
	return out
}

// theme is the scales on one ground. Differences: brown is down, teal is up; the two differ in blue
// against yellow, which every common colour blindness leaves apart. Values have one neutral hue, room
// has plum. None is the colour of a signal word.
type theme struct{ brown, teal, value, room ramp }

var (
	light = theme{
		brown: ramp{{246, 243, 236}, {221, 184, 132}, {118, 70, 14}},
		teal:  ramp{{246, 243, 236}, {138, 203, 194}, {8, 92, 84}},
		value: ramp{{248, 247, 244}, {206, 204, 198}, {128, 124, 115}},
		room:  ramp{{250, 247, 250}, {219, 190, 222}, {102, 32, 110}},
	}
	dark = theme{
		brown: ramp{{43, 41, 37}, {118, 80, 30}, {238, 196, 140}},
		teal:  ramp{{43, 41, 37}, {24, 106, 98}, {134, 226, 213}},
		value: ramp{{38, 37, 34}, {78, 76, 70}, {150, 146, 137}},
		room:  ramp{{40, 37, 41}, {100, 60, 108}, {231, 178, 240}},
	}
)

// ink is the class of a cell's ground: d-12 to d12 of a difference, v0 to v12 of a value, r0 to r12 of room.
type ink string

func inkOf(scale byte, n int) ink { return ink(fmt.Sprintf("%c%d", scale, n)) }

// none is the ground of no difference, and of what has no scale.
const none ink = "d0"

// grounds is every ink's ground, in order.
func (t theme) grounds() (inks []ink, grounds []rgb) {
	add := func(scale byte, n int, r ramp) {
		inks, grounds = append(inks, inkOf(scale, n)), append(grounds, r.at(math.Abs(float64(n))/steps))
	}
	for n := -steps; n < 0; n++ {
		add('d', n, t.brown)
	}
	for n := 0; n <= steps; n++ {
		add('d', n, t.teal)
	}
	for n := 0; n <= steps; n++ {
		add('v', n, t.value)
	}
	for n := 0; n <= steps; n++ {
		add('r', n, t.room)
	}
	return inks, grounds
}

// on is black or white, whichever reads better on a ground.
func on(ground rgb) rgb {
	black, white := rgb{}, rgb{255, 255, 255}
	if contrast(ground, black) >= contrast(ground, white) {
		return black
	}
	return white
}

// contrast is the contrast ratio of WCAG 2.
func contrast(a, b rgb) float64 {
	la, lb := luminance(a), luminance(b)
	return (max(la, lb) + .05) / (min(la, lb) + .05)
}

func luminance(c rgb) float64 {
	var lin rgb
	for i, v := range c {
		if v /= 255; v <= .04045 {
			lin[i] = v / 12.92
		} else {
			lin[i] = math.Pow((v+.055)/1.055, 2.4)
		}
	}
	return float64(.2126*lin[0]) + float64(.7152*lin[1]) + float64(.0722*lin[2])
}

// deltaInk is the ink of a difference, where most is the largest of any. What is not zero is never
// drawn as zero.
func deltaInk(v, most float64) ink {
	switch {
	case v == 0 || math.IsNaN(v) || most == 0:
		return none
	case math.IsInf(v, 0) || math.IsInf(most, 0) || math.IsNaN(most):
		return inkOf('d', int(math.Copysign(steps, v)))
	}
	n := int(math.Round(steps * (math.Abs(v) / most)))
	return inkOf('d', int(math.Copysign(float64(min(max(n, 1), steps)), v)))
}

// valueInk is the ink of a value among others of low to high.
func valueInk(v, low, high float64) ink {
	if !surface.Finite(v) || !(high > low) {
		return inkOf('v', 0)
	}
	part := (v/2 - low/2) / (high/2 - low/2)
	return inkOf('v', min(max(int(math.Round(part*steps)), 0), steps))
}

// roomInk is the ink of the room to a limit, where most is the most of any: the less, the stronger,
// and the strongest where there is none left.
func roomInk(room, most float64) ink {
	switch {
	case room <= 0:
		return inkOf('r', steps)
	case !surface.Finite(room, most) || most <= 0:
		return inkOf('r', 0)
	}
	return inkOf('r', min(max(steps-1-int(math.Floor((steps-1)*(room/most))), 0), steps-1))
}

//go:embed assets/view.css
var plainCSS string

// JS is the script of the table page; without it the page is whole, and only the cursor is missing.
//
//go:embed assets/view.js
var JS string

// CSS is the style of everything that the package draws, the scale's colours in it.
var CSS = plainCSS + scaleCSS()

func scaleCSS() string {
	var b strings.Builder
	rules := func(t theme) {
		inks, grounds := t.grounds()
		for i, c := range grounds {
			fmt.Fprintf(&b, ".%s { --c: %s; --t: %s; }\n", inks[i], c, on(c))
		}
	}
	rules(light)
	b.WriteString("@media screen and (prefers-color-scheme: dark) {\n")
	rules(dark)
	b.WriteString("}\n")
	for n := narrowest; n <= widest; n++ {
		fmt.Fprintf(&b, ".heat .w%d { min-width: %.1fch; }\n", n, 1.1*float64(n)+.6) // bold figures are wider
	}
	b.WriteString("@media print {\n")
	for k := fewest; k <= fullest; k++ { // a grid across A4, whatever its columns
		fmt.Fprintf(&b, ".k%d .heat { font-size: %.2fpt; }\n", k, 820/float64(20*k))
	}
	b.WriteString("}\n")
	return b.String()
}
