package cause

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/floats"

	"holdfast/bench/measure"
	"holdfast/bench/rig"
)

// instrumentPrior is how common it is that one instrument of a bench is not what its rig file states, and does more to a
// run than its stated accuracy: three runs in a thousand each. Ours, no source.
const instrumentPrior = 0.003

// InstrumentPrefix begins the name of each cause that is an instrument of the bench: "instrument-return_flow".
const InstrumentPrefix = "instrument-"

// Instrument returns the channel of a cause that is an instrument of the bench; ok is false for any other cause.
func Instrument(name string) (channel string, ok bool) {
	return strings.CutPrefix(name, InstrumentPrefix)
}

// instrument is what a channel of the bench does to the signs when it reads higher than the truth, and the one check at
// the bench that would show it. Read low it does the opposite; out in another way (noise, drift, standing still) it may
// move any of them either way.
type instrument struct {
	channel  rig.Channel
	up, down []key
	may      []key // one way or the other
	parts    []key // of a sign that parts two causes: on the upper side
	check    string
}

// instrumentsKnown: effects follow from the formulas of the characteristics and signs. A unit is regulated on its own sensor.
var instrumentsKnown = []instrument{
	{channel: rig.ReferencePressure, up: []key{regulated, opening, checkOpens},
		down: []key{span, sensorOff, zero, dosing, restriction, loadVolts}, may: []key{leakInside, softness, purge, changeover, flows, prime},
		parts: []key{gaugeOff},
		check: "read the gauge against a second one, or a dead-weight tester"},
	{channel: rig.AmbientPressure, down: []key{zero, lowZero, sensorOff, regulated, opening}, may: []key{dosing, purge, prime, loadVolts, restriction, drive, flows},
		check: "read a barometer beside it"},
	{channel: rig.ReturnFlow, up: []key{restriction, efficiency}, may: []key{checkOpens, fallWithLoad, leakInside},
		check: "let the return run into a beaker for a minute and weigh it"},
	{channel: rig.PumpSpeed, up: []key{freeSpeed, flows}, down: []key{efficiency, fillTurn, fillWet}, may: []key{loadVolts, fillEases, fallWithLoad, ripple},
		check: "strobe the shaft"},
	{channel: rig.PumpCurrent, up: []key{freeCurrent}, check: "clamp a hand meter round the pump's lead"},
	{channel: rig.ReturnValveCurrent, down: []key{coil}, may: []key{coilCircuit, changeover, wiring}, check: "measure the coil with a hand meter"},
	{channel: rig.HeaterCurrent, down: []key{heater}, may: []key{heaterFell, heaterGone, wiring}, check: "measure the heater with a hand meter"},
	{channel: rig.SupplyVoltage, up: []key{wiring}, may: []key{freeSpeed, loadVolts, heater, coil}, check: "measure the supply at the terminals with a hand meter"},
	{channel: rig.UnitVoltage, up: []key{heater, coil, loadVolts}, down: []key{freeSpeed, wiring}, check: "measure the voltage at the unit's plug with a hand meter"},
	{channel: rig.SensorSupplyVoltage, up: []key{supply}, check: "measure the sensor's supply at its plug with a hand meter"},
	{channel: rig.ScaleMass, up: []key{dosing, softness, leakInside, doserLeak}, down: []key{purge},
		may: []key{outsideLoss, dosingSpread, besideNeedle, nothingDosed, pours, efficiency, opensLate}, check: "put a known mass on the scale, and watch it for a minute with everything off"},
	{channel: rig.ReservoirMass, up: []key{fillTurn, fillWet, fillTakes, outsideLoss}, down: []key{purge}, may: []key{efficiency, flows, stillFilling, fillEases, leakInside},
		check: "put a known mass on the reservoir's scale, and watch it for a minute with everything off"},
	{channel: rig.FluidTemperature, may: []key{cold, coil, heater, restriction, leakInside}, check: "hold a second thermometer into the fluid"},
	{channel: rig.AmbientTemperature, may: []key{coil}, check: "hang a second thermometer beside it"},
}

// The ways in which an instrument may be out.
const (
	readsHigh = iota
	readsLow
	readsOther
	numWays
)

// wayPrior is how likely each way is, of an instrument that is out. Ours.
var wayPrior = [numWays]float64{0.4, 0.4, 0.2}

// pattern is what an instrument does in one way of being out.
func (in *instrument) pattern(way int) (p pattern) {
	high, low := mayUp, mayDn
	switch way {
	case readsLow:
		high, low = mayDn, mayUp
	case readsOther:
		high, low = may, may
	}
	by := effects{high: in.up, may: in.may}
	by[low] = append(slices.Clone(by[low]), in.down...)
	if high == may { // all of them are in one list
		by = effects{may: slices.Concat(in.up, in.down, in.may)}
	}
	by[above] = in.parts
	return pattern{name: InstrumentPrefix + in.channel.String(), prior: instrumentPrior * wayPrior[way], effects: does(by)}
}

// suspected is an instrument of this bench as a hypothesis.
type suspected struct {
	instrument
	way   int             // the likeliest
	log   float64         // log posterior, not yet normalised
	named []measure.Check // what speaks for it, the clearest first
}

// instruments weighs every instrument of the bench that the run heard, on the same evidence as the unit's faults.
func (e *evidence) instruments() []suspected {
	var all []suspected
	for _, known := range instrumentsKnown {
		in := e.rig.Channels[known.channel]
		if in == nil && !(known.channel == rig.AmbientPressure && e.rig.Barometer.Value != 0) || in != nil && in.PartOfUnit {
			continue
		}
		s := suspected{instrument: known}
		logs := make([]float64, numWays)
		for way := range numWays {
			p := known.pattern(way)
			logs[way] = e.logSigns(&p)
			if logs[way] > logs[s.way] {
				s.way = way
			}
		}
		s.log = floats.LogSumExp(logs) + e.logChecks(known.channel)
		for _, c := range e.checks {
			if c.Late == 0 && c.Broken() && slices.Contains(c.Suspects, known.channel) {
				s.named = append(s.named, c)
			}
		}
		slices.SortStableFunc(s.named, func(a, b measure.Check) int {
			switch x, y := math.Abs(a.Excess()), math.Abs(b.Excess()); {
			case x > y:
				return -1
			case x < y:
				return 1
			}
			return 0
		})
		all = append(all, s)
	}
	return all
}

// secondSuspect is how much less likely a check that is broken is to speak of its second suspect than of its first.
const secondSuspect = 0.3

// strayCheck is the share of checks that are broken though every instrument is in order. Physics leaves little room. Ours.
const strayCheck = 1e-6

// checkDensity is the density of a check's excess with all instruments in order.
func checkDensity(z float64) float64 {
	g := &stages[plainly]
	return (1-strayCheck)*gauss(z) + strayCheck*g.raised(z)
}

// family is what checks have in common that go by the same error of an instrument: its zero at the beginning and at the
// end is one zero.
type family struct {
	layer    measure.Layer
	suspects string
}

// logChecks is the log density of the checks of the instruments, against what they are with all instruments in order,
// when one of them is out (noInstrument: none is). Of each family, and of all that speak of the one that is out, the clearest
// counts, however many there are.
func (e *evidence) logChecks(out rig.Channel) float64 {
	others := map[family]float64{}
	var order []family
	most, of := -1.0, 1.0
	for i := range e.checks {
		c := &e.checks[i]
		if c.Late > 0 {
			continue // frames that come late are the node's or the bus's, not an instrument's
		}
		z := math.Abs(c.Excess())
		if at := slices.Index(c.Suspects, out); at >= 0 {
			if z > most {
				most, of = z, math.Pow(secondSuspect, float64(at))
			}
			continue
		}
		f := family{c.Layer, fmt.Sprint(c.Suspects)}
		if _, known := others[f]; !known {
			order = append(order, f)
		}
		others[f] = math.Max(others[f], z)
	}
	sum := 0.0
	for _, f := range order {
		sum += math.Log(checkDensity(others[f]) / checkDensity(0))
	}
	if most >= 0 {
		g := &stages[plainly]
		m := g.moves[mayUp]
		sum += math.Log(((1-m)*checkDensity(most) + m*g.raised(most)) / checkDensity(0) * of)
	}
	return sum
}

// noInstrument stands for a run whose instruments are all in order.
const noInstrument = rig.Channel(rig.NumChannels)

var wayWords = [numWays]string{"reads high", "reads low", "is out"}

// cause words an instrument that is out.
func (s *suspected) cause(e *evidence, probability float64) Cause {
	c := Cause{Name: InstrumentPrefix + s.channel.String(), Probability: probability,
		Title:     fmt.Sprintf("the bench: %s %s", plain(s.channel.String()), wayWords[s.way]),
		OpenFirst: "Open nothing: " + s.check + "."}
	switch p := s.pattern(s.way); {
	case len(s.named) > 0:
		c.Evidence = sentence(plain(s.named[0].Found) + "; " + s.named[0].Why)
	default:
		if told := e.speaksFor(&p); len(told) > 0 {
			c.Evidence = sentence(strings.Join(told, ", "))
		} else {
			c.Evidence = "No reading speaks for it."
		}
	}
	return c
}

// plain is a name of a rig file or scenario as it is spoken: return flow.
func plain(text string) string { return strings.ReplaceAll(text, "_", " ") }
