package torture

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"holdfast/sim"
)

// trial is everything that a seed decides before the run begins.
type trial struct {
	seed     uint64
	own      bool // the unit has its own controller: the shipped rig unit-controller, else bench-node
	scenario string
	nominal  float64 // bar
	limit    float64 // bar, at which the interlock must trip
	faults   map[string]float64
	troubles []trouble
	person   person
	env      *rand.Rand // what is drawn on the way
}

// rigLimit is the guard of both shipped rigs (scenarios/rigs), bar.
const rigLimit = 12.0

// How long a run takes when nothing goes wrong: troubles are drawn within it.
const (
	usualLength = 30 * time.Second
	ownLength   = 50 * time.Second // a unit that primes by itself takes its time
)

func draw(seed uint64) *trial {
	r := rand.New(rand.NewPCG(seed, 0x746f7274757265))
	t := &trial{seed: seed, own: seed%4 == 2, faults: map[string]float64{},
		env: rand.New(rand.NewPCG(seed, 0x656e7669726f6e))}
	t.drawScenario(r)
	if r.IntN(2) == 0 {
		names := sim.FaultNames()
		for range 1 + r.IntN(2) {
			t.faults[names[r.IntN(len(names))]] = r.Float64()
		}
	}
	if seed%8 != 0 && seed%16 != 6 { // some of both kinds are quiet: nothing may trip by itself
		for range 1 + r.IntN(3) {
			t.troubles = append(t.troubles, drawTrouble(r, kind(r.IntN(int(numKinds))), t.length()))
		}
		if r.IntN(4) == 0 {
			t.troubles = append(t.troubles, drawTrouble(r, surge, t.length()))
		}
	}
	return t
}

// drawScenario writes a short plan with random steps, set points and pressure limit.
func (t *trial) drawScenario(r *rand.Rand) {
	t.nominal = 4 + 6*r.Float64()
	if t.own {
		t.nominal = 9 // it knows no other
	}
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
	if !t.own && r.IntN(4) == 0 {
		b.WriteString("  - electrics: {for: 1 s}\n")
	}
	fill, limit, patience := 20, 18, 10
	if t.own {
		fill, limit, patience = 60, 55, 40
	}
	fmt.Fprintf(&b, "  - prime: {drive: %d %%, until: 1.5 bar, stays: 0.2 s, timeout: %d s}\n",
		80+r.IntN(21), fill)
	fmt.Fprintf(&b, "  - pressurise: {to: %.2f bar, band: 5 %%, stays: 0.5 s, timeout: %d s}\n",
		t.nominal, patience)
	fmt.Fprintf(&b, "  - hold: {at: %.2f bar, for: %d s, settle: 1 s}\n", t.nominal, 2+r.IntN(3))
	t.drawMiddle(r, &b)
	b.WriteString("  - relieve: {below: 0.2 bar, timeout: 15 s}\nlimits:\n")
	fmt.Fprintf(&b, "  regulated_pressure: {min: %.2f bar, max: %.2f bar}\n", 0.95*t.nominal, 1.05*t.nominal)
	fmt.Fprintf(&b, "  prime_time: {max: %d s}\n", limit)
	t.scenario = b.String()
}

// drawMiddle writes what is done with the pressure.
func (t *trial) drawMiddle(r *rand.Rand, b *strings.Builder) {
	switch r.IntN(6) {
	case 0:
		fmt.Fprintf(b, "  - leak-down: {for: %d s, settle: 0.5 s}\n", 2+r.IntN(3))
	case 1:
		duty := 10 * (1 + r.IntN(6))
		fmt.Fprintf(b, "  - dose: {at: %.2f bar, duty: %d %%, for: 3 s, settle: 1 s}\n", t.nominal, duty)
	case 2:
		fmt.Fprintf(b, "  - purge: {drive: 60 %%, duty: 50 %%, for: %d s}\n", 2+r.IntN(4))
	case 3:
		b.WriteString("  - compliance: {duty: 30 %, for: 500 ms, settle: 500 ms}\n")
		fmt.Fprintf(b, "  - leak-down: {for: %d s, settle: 0.5 s}\n", 1+r.IntN(3))
	case 4:
		fmt.Fprintf(b, "  - purge: {drive: 60 %%, duty: 50 %%, for: 1 s}\n"+
			"  - repressurise: {drive: 60 %%, to: %.2f bar, band: 5 %%, stays: 0.5 s, timeout: 40 s}\n", t.nominal)
	case 5:
		t.drawPerson(r)
		fmt.Fprintf(b, "  - ask: {question: \"Drip?\", expect: no, as: external_leak, at: %.2f bar, "+
			"unattended: skip, timeout: 4 s}\n", t.nominal)
	}
}

// quiet says that nothing was drawn that could end a run early, by far.
func (t *trial) quiet() bool {
	return len(t.troubles) == 0 && len(t.faults) == 0 && t.limit > 1.3*t.nominal
}

func (t *trial) has(kinds ...kind) bool {
	return slices.ContainsFunc(t.troubles, func(one trouble) bool { return slices.Contains(kinds, one.kind) })
}
