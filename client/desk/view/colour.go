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

// theme is the scale on one ground: brown is down and low, teal is up and high. The two differ in
// blue against yellow, which every common colour blindness leaves apart, and neither is the colour of
// a signal word.
type theme struct{ brown, teal ramp }

var (
	light = theme{
		brown: ramp{{246, 243, 236}, {221, 184, 132}, {118, 70, 14}},
		teal:  ramp{{246, 243, 236}, {138, 203, 194}, {8, 92, 84}},
	}
	dark = theme{
		brown: ramp{{43, 41, 37}, {118, 80, 30}, {238, 196, 140}},
		teal:  ramp{{43, 41, 37}, {24, 106, 98}, {134, 226, 213}},
	}
)

// step is the ground of step n, -steps to steps.
func (t theme) step(n int) rgb {
	if n < 0 {
		return t.brown.at(float64(-n) / steps)
	}
	return t.teal.at(float64(n) / steps)
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

// stepOf is the step of a difference, or of the room to a limit, where most is the largest of any. What is
// not zero is never drawn as zero.
func stepOf(v, most float64) int {
	switch {
	case v == 0 || math.IsNaN(v) || most == 0:
		return 0
	case math.IsInf(v, 0) || math.IsInf(most, 0) || math.IsNaN(most):
		return int(math.Copysign(steps, v))
	}
	n := int(math.Round(steps * (math.Abs(v) / most)))
	return int(math.Copysign(float64(min(max(n, 1), steps)), v))
}

// levelOf is the step of a value among others of low to high.
func levelOf(v, low, high float64) int {
	if !surface.Finite(v) || !(high > low) {
		return 0
	}
	part := (v/2 - low/2) / (high/2 - low/2)
	return min(max(int(math.Round(part*2*steps))-steps, -steps), steps)
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
		for n := -steps; n <= steps; n++ {
			c := t.step(n)
			fmt.Fprintf(&b, ".d%d { --c: %s; --t: %s; }\n", n, c, on(c))
		}
	}
	rules(light)
	b.WriteString("@media screen and (prefers-color-scheme: dark) {\n")
	rules(dark)
	b.WriteString("}\n")
	for n := narrowest; n <= widest; n++ {
		fmt.Fprintf(&b, ".w%d .heat td, .w%d .heat thead th { min-width: %.1fch; }\n", n, n, 1.14*float64(n)) // bold figures are wider
	}
	b.WriteString("@media print {\n")
	for k := fewest; k <= fullest; k++ { // a grid across A4, whatever its columns
		fmt.Fprintf(&b, ".k%d .heat { font-size: %.2fpt; }\n", k, 820/float64(20*k))
	}
	b.WriteString("}\n")
	return b.String()
}
