package torture

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"time"

	"holdfast/sim"
)

// trial is everything that a seed decides before the run begins.
type trial struct {
	seed     uint64
	scenario string
	nominal  float64 // bar
	limit    float64 // bar, at which the interlock must trip
	faults   map[string]float64
	troubles []trouble
	env      *rand.Rand // what is drawn on the way
}

// rigLimit is the guard of the shipped rig (scenarios/rigs/bench-node.yaml), bar.
const rigLimit = 12.0

// usualLength is how long a run takes when nothing goes wrong: troubles are drawn within it.
const usualLength = 30 * time.Second

func draw(seed uint64) *trial {
	r := rand.New(rand.NewPCG(seed, 0x746f7274757265))
	t := &trial{seed: seed, faults: map[string]float64{}, env: rand.New(rand.NewPCG(seed, 0x656e7669726f6e))}
	t.drawScenario(r)
	if r.IntN(2) == 0 {
		names := sim.FaultNames()
		for range 1 + r.IntN(2) {
			t.faults[names[r.IntN(len(names))]] = r.Float64()
		}
	}
	if seed%8 != 0 { // every eighth seed is a quiet one: nothing may trip by itself
		for range 1 + r.IntN(3) {
			t.troubles = append(t.troubles, drawTrouble(r, kind(r.IntN(int(numKinds))), usualLength))
		}
		if r.IntN(4) == 0 {
			t.troubles = append(t.troubles, drawTrouble(r, surge, usualLength))
		}
	}
	return t
}

// drawScenario writes a short plan with random steps, set points and pressure limit.
func (t *trial) drawScenario(r *rand.Rand) {
	t.nominal = 4 + 6*r.Float64()
	t.limit = rigLimit
	var b strings.Builder
	fmt.Fprintf(&b, "holdfast: scenario/1\nname: torture\ntitle: Seed %d\n", t.seed)
	b.WriteString("decision_rule: simple\nlimits_from: shop\n")
	fmt.Fprintf(&b, "nominal: %.2f bar\n", t.nominal)
	if r.IntN(2) == 0 {
		t.limit = math.Floor(100*(1.06*t.nominal+r.Float64()*(rigLimit-1.06*t.nominal))) / 100
		fmt.Fprintf(&b, "max_pressure: %.2f bar\n", t.limit)
	}
	b.WriteString("steps:\n")
	if r.IntN(2) == 0 {
		fmt.Fprintf(&b, "  - vent: {for: %d s}\n", 1+r.IntN(2))
	}
	fmt.Fprintf(&b, "  - prime: {drive: %d %%, until: 1.5 bar, stays: 0.2 s, timeout: 20 s}\n", 80+r.IntN(21))
	fmt.Fprintf(&b, "  - pressurise: {to: %.2f bar, band: 5 %%, stays: 0.5 s, timeout: 10 s}\n", t.nominal)
	fmt.Fprintf(&b, "  - hold: {at: %.2f bar, for: %d s, settle: 1 s}\n", t.nominal, 2+r.IntN(3))
	switch r.IntN(4) {
	case 0:
		fmt.Fprintf(&b, "  - leak-down: {for: %d s, settle: 0.5 s}\n", 2+r.IntN(3))
	case 1:
		duty := 10 * (1 + r.IntN(6))
		fmt.Fprintf(&b, "  - dose: {at: %.2f bar, duty: %d %%, for: 3 s, settle: 1 s}\n", t.nominal, duty)
	case 2:
		fmt.Fprintf(&b, "  - purge: {drive: 60 %%, duty: 50 %%, for: %d s}\n", 2+r.IntN(4))
	}
	b.WriteString("  - relieve: {below: 0.2 bar, timeout: 15 s}\nlimits:\n")
	fmt.Fprintf(&b, "  regulated_pressure: {min: %.2f bar, max: %.2f bar}\n", 0.95*t.nominal, 1.05*t.nominal)
	b.WriteString("  prime_time: {max: 18 s}\n")
	t.scenario = b.String()
}

// quiet says that nothing was drawn that could end a run early, by far.
func (t *trial) quiet() bool {
	return len(t.troubles) == 0 && len(t.faults) == 0 && t.limit > 1.3*t.nominal
}

func (t *trial) has(kinds ...kind) bool {
	for i := range t.troubles {
		for _, k := range kinds {
			if t.troubles[i].kind == k {
				return true
			}
		}
	}
	return false
}
