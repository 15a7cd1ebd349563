package campaign

import (
	"errors"
	"fmt"
	"slices"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/bench/yamltext"
	"holdfast/cmd/holdfast/lies"
	"holdfast/sim"
	"holdfast/sim/lie"
)

// Config says which campaign.
type Config struct {
	Plan     *scenario.Plan
	Rig      *rig.Rig
	Units    int
	Seed     uint64
	Jobs     int      // units tested at a time
	Healthy  float64  // share of units without a fault, 0..1
	Several  float64  // share of units with two faults, 0..1
	Trouble  float64  // share of healthy units whose bench or bus has a problem, 0..1
	Faults   []string // which may be drawn, one named twice twice as often; empty: all that the simulator knows
	Lightest float64  // severity drawn, 0..1
	Heaviest float64  // 0: usual, as Lightest is then
	Troubles []string // which problems of bench and bus may be drawn; empty: all that can be met on this rig
	Spread   float64  // of units and benches, as sim.Options.Spread; 0: as good units of one kind
	Room     float64  // largest difference of a room from 22 °C, K, either way
	Tank     float64  // largest difference of the fluid in the tank from the room, K, either way

	Lies []string // told about the instruments of every unit, as holdfast run --lie has them

	// World says from what the truth is taken and which tables are made. "": this simulator's truth, part of it by the
	// harness's own formulas on a perfect recording. WorldOwn: by the plant's course alone. WorldOther: what the
	// simulation in lock-step at Peer tells.
	World   string
	Peer    string            // path of its socket
	Set     map[string]string // what it is asked for beside seed and faults
	Lying   float64           // share of the units without a fault on whose bench an instrument lies, 0..1
	Repeats int               // how often each unit is tested; below 2: once

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

const (
	mostUnits   = 1_000_000
	mostRepeats = 1000
)

// warmest is how far Room and Tank together may go, K: the simulator's fluid is not claimed further.
const warmest = 25.0

// Check returns everything wrong with a configuration.
func (c *Config) Check() error {
	var errs []error
	if c.Units < 1 || c.Units > mostUnits {
		errs = append(errs, fmt.Errorf("%d units: need 1 to %d", c.Units, mostUnits))
	}
	if c.Jobs < 1 {
		errs = append(errs, fmt.Errorf("%d jobs: need 1 or more", c.Jobs))
	}
	if !(c.Healthy >= 0 && c.Several >= 0 && c.Trouble >= 0 && c.Healthy+c.Several+c.Trouble <= 1) {
		errs = append(errs, fmt.Errorf("shares %g healthy, %g with two faults, %g on a troubled bench: "+
			"need 0 to 1 together", c.Healthy, c.Several, c.Trouble))
	}
	if !(c.Room >= 0 && c.Tank >= 0 && c.Room+c.Tank <= warmest) {
		errs = append(errs, fmt.Errorf("room ±%g K and tank ±%g K: need 0 to %g together",
			c.Room, c.Tank, warmest))
	}
	if least, most := c.severities(); !(least > 0 && least <= most && most <= 1) {
		errs = append(errs, fmt.Errorf("severities %g to %g: need 0 < from <= to <= 1", least, most))
	}
	errs = append(errs, c.checkWorld())
	_, err := c.told()
	errs = append(errs, err, unknown("fault", c.Faults, sim.FaultNames()),
		unknown("problem of the bench", c.Troubles, c.possible()))
	return errors.Join(errs...)
}

// checkWorld holds against each other what belongs to campaigns by world.
func (c *Config) checkWorld() error {
	var errs []error
	switch {
	case c.World != "" && c.World != WorldOwn && c.World != WorldOther:
		errs = append(errs, fmt.Errorf("world %q: %s or %s would do", c.World, WorldOwn, WorldOther))
	case c.World == WorldOther && c.Peer == "":
		errs = append(errs, errors.New("the other world needs a simulation in lock-step: start one "+
			"(go run ./sim/other lockstep:/tmp/other) and name it (--bus lockstep:/tmp/other)"))
	case c.World != WorldOther && (c.Peer != "" || len(c.Set) > 0):
		errs = append(errs, errors.New("a simulation in lock-step and its settings go with the other world"))
	case c.World == "" && (c.Lying > 0 || c.Repeats > 1):
		errs = append(errs, errors.New("lying instruments and repeats are counted by world: name one"))
	case c.World == WorldOther && (c.Trouble > 0 || len(c.Plan.Questions()) > 0):
		errs = append(errs, errors.New("problems of the bus, and a person who answers, are of the own world alone"))
	}
	if !(c.Lying >= 0 && c.Lying <= 1) {
		errs = append(errs, fmt.Errorf("share %g of lying benches: 0 to 1 would do", c.Lying))
	}
	if c.Repeats < 0 || c.Repeats > mostRepeats {
		errs = append(errs, fmt.Errorf("%d repeats: up to %d would do", c.Repeats, mostRepeats))
	}
	return errors.Join(errs...)
}

// told are the lies of every unit.
func (c *Config) told() ([]lie.Lie, error) { return lies.ParseAll(lies.Table(c.Rig), c.Lies) }

// usual says whether a unit depends on its seed and its faults alone, as those of holdfast run do.
func (c *Config) usual() bool {
	return (c.Spread == 0 || c.Spread == 1) && c.Room == 0 && c.Tank == 0 && len(c.Plan.Questions()) == 0 && len(c.Lies) == 0 && c.World == ""
}

// unknown says which names are not known.
func unknown(what string, names, known []string) error {
	var errs []error
	for _, n := range names {
		if !slices.Contains(known, n) {
			errs = append(errs, fmt.Errorf("no %s is named %q: %s", what, n, yamltext.DidYouMean(n, known)))
		}
	}
	return errors.Join(errs...)
}
