package campaign

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"holdfast/cmd/holdfast/lies"
	"holdfast/sim"
	"holdfast/sim/lie"
)

// Draw is one unit before it is tested: the simulator's seed and the faults it is given.
type Draw struct {
	Number int                // in the campaign, from 0
	Seed   uint64             // of the simulator: spread, instruments' errors, noise
	Faults map[string]float64 // severity 0..1 by name; nil: healthy
	Trouble
	Spread     float64
	Room, Tank float64 // K, as in sim.Options
	Lies       []lie.Lie
	Repeat     uint64 // 0: the first time; else the same unit and bench on another day
}

// leastSeverity is the lightest fault drawn; what is lighter is a healthy unit's spread.
const leastSeverity = 0.05

// severities are the lightest and the heaviest that are drawn.
func (c *Config) severities() (least, most float64) {
	if c.Heaviest == 0 && c.Lightest == 0 {
		return leastSeverity, 1
	}
	return c.Lightest, c.Heaviest
}

// Draw returns unit number i of the campaign.
func (c *Config) Draw(i int) Draw {
	const stream = 0x63616d706169676e
	rng := rand.New(rand.NewPCG(c.Seed^stream, uint64(i)))
	d := Draw{Number: i, Seed: c.Seed*mostUnits + uint64(i), Spread: c.Spread}
	c.drawFaults(&d, rng)
	d.Lies, _ = c.told() // which Check has looked at
	if len(d.Faults) == 0 && d.Trouble.Name == "" && c.lies(i) {
		drawn, _ := lies.Parse(lies.Table(c.Rig), c.drawLie(i))
		d.Lies = append(d.Lies, drawn...)
	}
	d.Room, d.Tank = c.Room*(2*rng.Float64()-1), c.Tank*(2*rng.Float64()-1)
	return d
}

// lies says whether an instrument of the bench that unit i is on lies.
func (c *Config) lies(i int) bool {
	const stream = 0x6c696172
	return c.Lying > 0 && rand.New(rand.NewPCG(c.Seed^stream, uint64(i))).Float64() < c.Lying
}

// times is how often each unit is tested.
func (c *Config) times() int { return max(c.Repeats, 1) }

// test is test number i of the campaign: units one after the other, each as often as it is tested.
func (c *Config) test(i int) Draw {
	d := c.Draw(i / c.times())
	d.Repeat = uint64(i % c.times())
	return d
}

// drawFaults says what is wrong with a unit, or with the bench that it is on.
func (c *Config) drawFaults(d *Draw, rng *rand.Rand) {
	faults := 1
	switch x := rng.Float64(); {
	case x < c.Healthy:
		return
	case x < c.Healthy+c.Trouble:
		d.Trouble = c.drawTrouble(rng)
		return
	case x >= 1-c.Several:
		faults = 2
	}
	names := c.Faults
	if len(names) == 0 {
		names = sim.FaultNames()
	}
	d.Faults = map[string]float64{}
	least, most := c.severities()
	for range faults {
		name, severity := names[rng.IntN(len(names))], least+(most-least)*rng.Float64()
		d.Faults[name] = max(math.Round(severity*100)/100, 0.01) // as a person can type it again
	}
}

func (d Draw) has(fault string) bool { return d.Faults[fault] > 0 }

// Single is the one fault of a unit; "" when it has none or several.
func (d Draw) Single() string {
	if len(d.Faults) != 1 {
		return ""
	}
	return slices.Collect(maps.Keys(d.Faults))[0]
}

// String returns the faults as holdfast's --fault flags.
func (d Draw) String() string {
	var parts []string
	for _, name := range slices.Sorted(maps.Keys(d.Faults)) {
		parts = append(parts, fmt.Sprintf("--fault %s=%g", name, d.Faults[name]))
	}
	return strings.Join(parts, " ")
}
