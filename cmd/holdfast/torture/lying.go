package torture

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"holdfast/bench/rig"
	"holdfast/cmd/holdfast/lies"
	"holdfast/j1939/clock"
	"holdfast/sim/lie"
)

// disobedient are lies about the node's outputs, by name; each is as likely as one kind of lie.
var disobedient = []string{"pump-not-off", "valve-stuck", "shutoff-not-seen", "dosing-ignored"}

// truthMargin is by how much (bar) the true pressure may pass the interlock's limit on a bench with two gauges, whatever
// one of its instruments says.
const truthMargin = 0.5

// drawLies has one seed of three lie about an instrument or disobey. It draws beside the trial, which stays what it was.
func (t *trial) drawLies(r *rig.Rig) []lie.Lie {
	if t.seed%3 != 1 || t.quiet() || t.seed%8 == 0 || t.seed%16 == 6 {
		return nil
	}
	rng := rand.New(rand.NewPCG(t.seed, 0x6c6965))
	table := lies.Table(r)
	if rng.IntN(6) == 0 && !t.own {
		name := disobedient[rng.IntN(len(disobedient))]
		told, err := lies.Parse(table, fmt.Sprintf("%s@%.1f s..10 min", name, rng.Float64()*t.length().Seconds()))
		if err != nil {
			panic(err) // the names stand above
		}
		return told
	}
	table = slices.DeleteFunc(table, func(s lie.Signal) bool { return s.Command })
	s := &table[rng.IntN(len(table))]
	if rng.IntN(2) == 0 { // what matters most
		s = &table[slices.IndexFunc(table, func(s lie.Signal) bool { return s.Name == t.gauge().String() })]
	}
	return []lie.Lie{drawLie(rng, table, s, t.length())}
}

// drawLie draws a way of lying that a signal can have, from harmless to gross.
func drawLie(rng *rand.Rand, table []lie.Signal, s *lie.Signal, length time.Duration) lie.Lie {
	l := lie.Lie{Signal: s, From: time.Duration(rng.Float64() * float64(length))}
	if rng.IntN(3) == 0 {
		l.From = 0
	}
	if rng.IntN(2) == 0 {
		l.To = l.From + time.Duration(rng.Float64()*10*float64(time.Second))
	}
	for l.Kind = nil; l.Kind == nil || s.Unit == "" && l.Kind.Size != lie.NoSize && l.Kind.Size != lie.InPercent; {
		l.Kind = &lie.Kinds[rng.IntN(len(lie.Kinds))]
	}
	gross := math.Pow(10, -3*rng.Float64()) // of full scale
	sign := float64(1 - 2*rng.IntN(2))
	switch l.Kind.Size {
	case lie.InUnit:
		l.Size, l.Sized = sign*gross*s.Full, true
		if l.Kind.Name == "quantised" || l.Kind.Name == "noisy" || l.Kind.Name == "hysteresis" {
			l.Size = math.Abs(l.Size)
		}
	case lie.AReading:
		l.Size, l.Sized = rng.Float64()*s.Full, true
	case lie.InUnitPerMin:
		l.Size, l.Sized = sign*3*gross*s.Full, true
	case lie.InPercent:
		l.Size, l.Sized = 1+99*rng.Float64(), true
	case lie.ATime:
		l.Span, l.Sized = time.Duration(gross*3*float64(time.Second)), true
	case lie.AnotherName:
		l.Other, l.Sized = &table[rng.IntN(len(table))], true
	}
	l.Text = fmt.Sprintf("%s=%s size %.4g span %v from %.2f s to %.2f s", s.Name, l.Kind.Name, l.Size, l.Span,
		l.From.Seconds(), l.To.Seconds())
	return l
}

// aboutPressure reports whether what is told concerns a gauge or the barometer that they hang on.
func aboutPressure(told []lie.Lie) bool {
	return slices.ContainsFunc(told, func(l lie.Lie) bool {
		return strings.HasSuffix(l.Signal.Name, "_pressure") || l.Other != nil && strings.HasSuffix(l.Other.Name, "_pressure")
	})
}

// disobeys reports whether the node was made not to do what it is told.
func disobeys(told []lie.Lie) bool {
	return slices.ContainsFunc(told, func(l lie.Lie) bool { return l.Signal.Command })
}

// untimely reports whether messages come late or not at all: what is heard is then not what is there now.
func untimely(told []lie.Lie) bool {
	return slices.ContainsFunc(told, func(l lie.Lie) bool {
		return slices.Contains([]string{"late", "jittered", "dropped", "missing", "error", "lagging"}, l.Kind.Name)
	})
}

// bounded looks at the true pressure on a bench with two gauges: whatever one instrument says, it must stay below the
// interlock's limit and half a bar. What comes late, garbled or not at all is looked at by truth.
func (w *watch) bounded(now clock.Instant, pressure float64) {
	if w.unbounded || w.trial.own || pressure <= w.trial.limit+truthMargin {
		return
	}
	w.unbounded = true
	if w.blind() {
		return
	}
	w.fail(now, "%.2f bar are really there, and the interlock's limit is %.2f bar", pressure, w.trial.limit)
}

// blind reports that nothing on this bench shows the pressure now: messages are late or lost, or both gauges are wrong
// together, one by a lie and the unit's own by a fault.
func (w *watch) blind() bool {
	sensor := false
	for name := range w.trial.faults {
		sensor = sensor || strings.HasPrefix(name, "sensor")
	}
	return untimely(w.told) || sensor && aboutPressure(w.told) ||
		w.trial.has(loss, delay, reordering, duplication, corruption, babbling, dropout, frozen, restart, overflow, busDown, busError,
			held, killed)
}
