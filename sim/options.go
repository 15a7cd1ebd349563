package sim

import (
	"errors"
	"fmt"
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
}

// check returns everything wrong with the faults.
func (o Options) check() error {
	var errs []error
	for _, name := range sortedNames(o.Faults) {
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

func sortedNames(m map[string]float64) []string {
	names := make([]string, 0, len(m))
	for name := range m {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}
