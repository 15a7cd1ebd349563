package sim

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"holdfast/j1939/clock"
	"holdfast/sim/fluid"
)

// Options says which bench and which unit.
type Options struct {
	Seed   uint64             // draws the unit's spread, the instruments' errors and the noise
	Faults map[string]float64 // name (see FaultNames) to severity 0..1; several combine
	Start  clock.Instant      // the bench's first frames are sent at this time
	Fluid  fluid.Kind         // in the reservoir; DEF when zero

	// Controller gives the unit its own J1939 controller (package controller). The bench's node is then
	// wired to the unit's supply, the return's shut-off and the vent, and to its own instruments.
	Controller bool

	// Spread is how far this unit and this bench may lie from the reference ones: 1 (or zero) as
	// good units of one kind do, 2 twice as far, NoSpread not at all. Instruments' errors stay
	// inside their stated class (normal, k = 2) whatever Spread is.
	Spread float64
	Room   float64 // K by which the room is warmer than 22 °C
	Tank   float64 // K by which the fluid in the tank is warmer than the room

	// Repeat, when not 0, is another test of the same unit on the same bench: what is random during a run (noise of
	// the readings, slugs of air) is drawn anew, unit and instruments are not.
	Repeat uint64

	// Watch, when not nil, is called with what is really there: the n-th time at n ms after
	// Start. It must not keep the pointer.
	Watch func(*Moment)

	// Changed, when not nil, is called whenever an output has changed. It must not keep the pointer.
	Changed func(*Change)
}

// NoSpread asks for exactly the reference unit on the reference bench.
const NoSpread = -1

// spread is the factor on every healthy deviation.
func (o Options) spread() float64 {
	switch {
	case o.Spread < 0:
		return 0
	case o.Spread == 0:
		return 1
	}
	return o.Spread
}

// Bounds of what can be asked for.
const (
	widestSpread = 5.0  // beyond it parameters leave their admitted ranges
	coldest      = 30.0 // K below 22 °C: the properties of the fluid are not claimed further
	warmest      = 35.0 // K above
)

// check returns everything wrong with the options.
func (o Options) check() error {
	var errs []error
	if !(o.Spread <= widestSpread) {
		errs = append(errs, fmt.Errorf("spread %g: up to %g would do", o.Spread, widestSpread))
	}
	for _, t := range []float64{o.Room, o.Room + o.Tank} {
		if !(t >= -coldest && t <= warmest) {
			errs = append(errs, fmt.Errorf("room or tank at %g °C: %g to %g would do", 22+t, 22-coldest, 22+warmest))
			break
		}
	}
	for _, name := range slices.Sorted(maps.Keys(o.Faults)) {
		s := o.Faults[name]
		switch {
		case faultNamed(name) == nil:
			known := strings.Join(FaultNames(), ", ")
			errs = append(errs, fmt.Errorf("unknown fault %q: the bench knows %s", name, known))
		case !(s >= 0 && s <= 1):
			errs = append(errs, fmt.Errorf("fault %s has severity %g: 0 (none) to 1 (worst) would do", name, s))
		}
	}
	return errors.Join(errs...)
}
