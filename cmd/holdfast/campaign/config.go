package campaign

import (
	"errors"
	"fmt"
	"slices"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/sim"
)

// Config says which campaign.
type Config struct {
	Plan    *scenario.Plan
	Rig     *rig.Rig
	Units   int
	Seed    uint64
	Jobs    int      // units tested at a time
	Healthy float64  // share of units without a fault, 0..1
	Several float64  // share of units with two faults, 0..1
	Trouble float64  // share of healthy units whose bench or bus has a problem, 0..1
	Faults  []string // which may be drawn; empty: all that the simulator knows

	// Progress, when not nil, is called after each unit, by one goroutine at a time.
	Progress func(done, units int)
}

// Usual shares of a campaign: half of what comes to a bench after a rebuild is in order, and
// few units have two faults. Common practice, no source.
const (
	UsualHealthy = 0.4
	UsualSeveral = 0.1
	UsualTrouble = 0.05
)

const mostUnits = 1_000_000

// check returns everything wrong with a configuration.
func (c *Config) check() error {
	var errs []error
	if c.Units < 1 || c.Units > mostUnits {
		errs = append(errs, fmt.Errorf("%d units: 1 to %d would do", c.Units, mostUnits))
	}
	if c.Jobs < 1 {
		errs = append(errs, fmt.Errorf("%d jobs: 1 or more would do", c.Jobs))
	}
	if !(c.Healthy >= 0 && c.Several >= 0 && c.Trouble >= 0 && c.Healthy+c.Several+c.Trouble <= 1) {
		errs = append(errs, fmt.Errorf("shares %g healthy, %g with two faults, %g on a troubled bench: "+
			"together 0 to 1 would do", c.Healthy, c.Several, c.Trouble))
	}
	for _, f := range c.Faults {
		if !slices.Contains(sim.FaultNames(), f) {
			errs = append(errs, fmt.Errorf("no fault is named %q", f))
		}
	}
	return errors.Join(errs...)
}
