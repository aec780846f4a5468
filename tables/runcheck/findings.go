package runcheck

import (
	"fmt"
	"math"

	"witnessmark/tables/severity"
	"witnessmark/tables/units"
)

// practice is where these numbers come from, as findings say it.
const practice = "common practice, no source"

// How far is how bad. Common practice, no source.
var (
	knockGrades = []grade{{severity.Danger, 8}, {severity.Warning, 5}, {severity.Caution, 3}}           // deg taken back
	leanGrades  = []grade{{severity.Danger, 0.08}, {severity.Warning, 0.05}, {severity.Caution, 0.035}} // lambda above the command, under load
	plainGrades = []grade{{severity.Danger, 1.08}, {severity.Warning, 1.03}}                            // lambda under load, where no map says more
	boostGrades = []grade{{severity.Danger, 25}, {severity.Warning, 15}, {severity.Caution, 8}}         // kPa over the target
)

// settling is how long after the target fell pressure may still come from before. Common practice, no source.
const settling = 0.5 // s

// said is a grade in words.
func said(g grade, what string) string {
	return fmt.Sprintf("%s for %g s is a %s (%s)", what, leastSeconds, g.level, practice)
}

// knock finds advance that knock control took back.
func (c *check) knock() {
	ch, err := c.channel(retard, "deg")
	if err != nil {
		return
	}
	taken := func(i int) float64 {
		if ch.hole(i) {
			return math.NaN()
		}
		return math.Abs(ch.at(i)) // loggers differ in its sign
	}
	g, s, seconds, ok := c.graded(knockGrades, taken)
	if !ok {
		return
	}
	var by *side
	for _, s := range c.sides {
		if s.channel == advance {
			by = s
		}
	}
	c.find("knock", g.level, by, s.worst, fmt.Sprintf("knock control took back %.1f deg %s, and %g deg or more for %.2f s in all; %s",
		taken(s.worst), c.where(by, s.worst), g.from, seconds, said(g, fmt.Sprintf("%g deg", g.from))))
}

// lean finds a mixture leaner than the map's under load.
func (c *check) lean(s *side) {
	g, at, seconds, ok := c.graded(leanGrades, func(i int) float64 {
		if !c.loaded(int(s.from[i])) {
			return math.NaN()
		}
		return s.off(i)
	})
	if ok {
		c.find("lean", g.level, s, at.worst, fmt.Sprintf("lambda %.3f under load where %s asks for %.3f %s, %.2f s in all; %s",
			s.logged[at.worst], s.id(), s.expected[at.worst], c.where(s, at.worst), seconds, said(g, fmt.Sprintf("%g above the map under load", g.from))))
	}
}

// leanByItself finds a lean mixture under load where no map is held against lambda.
func (c *check) leanByItself() {
	ch, err := c.channel(lambda, "1")
	if err != nil {
		return
	}
	g, at, seconds, ok := c.graded(plainGrades, func(i int) float64 {
		if ch.hole(i) || !c.loaded(i) {
			return math.NaN()
		}
		return ch.at(i)
	})
	if ok {
		c.find("lean", g.level, nil, at.worst, fmt.Sprintf("lambda %.3f under load at %.2f s, %.2f s in all; %s",
			ch.at(at.worst), c.Run.Time[at.worst], seconds, said(g, fmt.Sprintf("%g under load", g.from))))
	}
}

// overTarget finds pressure above what was asked for. Below it is no finding: a throttle that is not open, or a turbocharger
// that is not up to speed, keeps it there.
func (c *check) overTarget(s *side) {
	per, err := units.BetweenDifferences(s.unit, "kPa")
	if err != nil {
		c.left("%s over its target is not judged: %v", s.channel, err)
		return
	}
	target := c.recent(s)
	g, at, seconds, ok := c.graded(boostGrades, func(i int) float64 { return per.Difference(float64(s.logged[i]) - target(i)) })
	if ok {
		c.find("over-target", g.level, s, at.worst, fmt.Sprintf("%.4g %s where %s asks for %.4g %s, %.2f s in all; %s",
			s.logged[at.worst], s.unit, s.id(), target(at.worst), c.where(s, at.worst), seconds, said(g, fmt.Sprintf("%g kPa over the target", g.from))))
	}
}

// recent is the most that was commanded within settling before a sample. It is asked for rising samples, again and again.
func (c *check) recent(s *side) func(i int) float64 {
	var queue []int // samples whose commands fall from one to the next
	next := 0
	return func(i int) float64 {
		if i < next {
			queue, next = queue[:0], 0
		}
		for ; next <= i; next++ {
			v := s.expected[next]
			if v != v {
				continue
			}
			for len(queue) > 0 && s.expected[queue[len(queue)-1]] <= v {
				queue = queue[:len(queue)-1]
			}
			queue = append(queue, next)
		}
		for len(queue) > 0 && c.Run.Time[queue[0]] < c.Run.Time[i]-settling {
			queue = queue[1:]
		}
		if len(queue) == 0 {
			return math.NaN()
		}
		return float64(s.expected[queue[0]])
	}
}
