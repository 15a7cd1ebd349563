package cause

import (
	"fmt"
	"math"
	"strconv"

	"holdfast/bench/characteristic"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
	units "holdfast/j1939/unit"
)

// feature is one thing that the evidence says, standardised: z = 0 is the middle of what healthy
// units do, |z| = atLimit is at the limit. Derived features take out what another one explains, so
// that one fault is not seen twice.
type feature struct {
	known  bool
	z      float64
	apart  float64 // 0, or of a sign that parts two causes: by how many of its standard uncertainties; z from midway
	text   string  // said when it stands out
	normal string  // said when it does not, and that matters; "" otherwise
}

// atLimit is where the limit lies in spreads of healthy units: about one healthy unit in a hundred
// is made that far out. Our choice; not calibrated on anything yet.
const atLimit = 2.5

type key uint8

// The features. The order is the order in which evidence is told.
const (
	leakInside key = iota
	doserLeak
	outsideLoss
	restriction
	efficiency
	drive
	notReached
	prime
	softness
	ripple
	unsteady
	dosing
	supply
	pinned
	zero
	span
	regulated
	purge
	changeover
	freeCurrent
	checkOpens
	fallWithLoad
	sensorNoise
	wiring
	cold
	heater
	heaterFell
	heaterGone
	coil
	collapse
	stillFilling
	nothingBuilt
	primeVain
	opening
	ureaRead
	dripSeen
	nothingDosed
	laminar
	pours
	dosingSpread
	opensLate
	fillTurn
	fillEases
	fillWet
	fillTakes
	freeSpeed
	loadVolts
	flows
	besideNeedle
	strokeShare
	wetFurther
	supplyShape
	sensorOff
	lowZero
	sensorCircuit
	coilCircuit
	gaugeOff
	numKeys
)

// band is what healthy units do where the plan sets no limit: the reference unit's centre and the
// shipped example limits (bench table of characteristics).
type band struct{ centre, lower, upper float64 }

var none = math.NaN()

var bands = map[string]band{
	characteristic.LeakRate:             {0.1, none, 1.0},
	characteristic.DoserLeak:            {0, none, 0.2},
	characteristic.FluidLoss:            {0, none, 1.0}, // ours: what a drip at a fitting gives, common practice, no source
	characteristic.RestrictionArea:      {0.066, 0.055, 0.080},
	characteristic.VolumetricEfficiency: {90, 80, none}, // ours
	characteristic.HoldDrive:            {45, 30, 60},
	characteristic.FillPressure:         {0.34, 0.2, 0.6}, // of the reference unit: 0.3 bar opens its check valve
	characteristic.PrimeTime:            {20, none, 30},
	characteristic.Compliance:           {0.4, none, 0.6}, // ours
	characteristic.Ripple:               {0.2, none, 0.5},
	characteristic.DosingError:          {0, -5, 5},
	characteristic.SensorSupply:         {5, 4.75, 5.25},
	characteristic.SensorZero:           {0, -0.15, 0.15},
	characteristic.SensorSpanError:      {0, -2, 2},
	characteristic.RegulatedPressure:    {9, 8.7, 9.3},
	characteristic.PurgeTime:            {35, none, 45},
	characteristic.PurgeResidual:        {3, none, 6},
	characteristic.ChangeoverTime:       {0.1, none, 0.5},
	characteristic.CoilResistance:       {18, 15, 21},
	characteristic.HeaterResistance:     {4, 3.4, 4.6},
}

// evidence is everything that Rank weighs.
type evidence struct {
	chars  []measure.Characteristic
	rec    *samples.Recording
	rig    *rig.Rig
	plan   *scenario.Plan
	seen   observed
	checks []measure.Check // of the bench's instruments
	f      [numKeys]feature
	logs   [numKeys][len(stages)][numEffects]float64 // weighed log densities
}

// observed is what is read off the samples themselves, beside the characteristics.
type observed struct {
	Signs    measure.Signs
	Swing    float64 // bar, of the pressure under regulation
	Swings   bool    // Swing is known
	StoodAt  clock.Instant
	Stood    bool                 // the sensor's reading stood still from StoodAt while the gauge moved
	Readings [rig.NumChannels]int // valid ones
}

func observe(run *measure.Run) observed {
	o := observed{Signs: run.Signs()}
	o.Swing, o.Swings = run.Unsteadiness()
	o.StoodAt, o.Stood = run.Pinned()
	for i := range run.Recording.Channels {
		o.Readings[i] = len(run.Recording.Channels[i].V)
	}
	return o
}

func gather(chars []measure.Characteristic, seen observed, rec *samples.Recording, r *rig.Rig,
	p *scenario.Plan) *evidence {
	e := &evidence{chars: chars, seen: seen, rec: rec, rig: r, plan: p}
	e.leaks()
	e.plain(restriction, characteristic.RestrictionArea, "return restriction area")
	e.plain(efficiency, characteristic.VolumetricEfficiency, "volumetric efficiency of the pump")
	e.plain(drive, characteristic.HoldDrive, "drive to hold pressure")
	e.plain(opening, characteristic.FillPressure, "the air of the empty line goes out through the return at")
	e.plain(prime, characteristic.PrimeTime, "prime time")
	e.plain(softness, characteristic.Compliance, characteristic.Compliance)
	e.plain(ripple, characteristic.Ripple, characteristic.Ripple)
	e.plain(zero, characteristic.SensorZero, "sensor reading, vented, against the reference")
	e.plain(span, characteristic.SensorSpanError, "sensor under pressure against the reference")
	e.plain(regulated, characteristic.RegulatedPressure, "line pressure on the gauge in the hold")
	e.plain(supply, characteristic.SensorSupply, "sensor supply")
	e.f[supply].normal = "sensor supply in order"
	e.plain(changeover, characteristic.ChangeoverTime, "changeover of the return valve")
	e.unreached()
	e.purged()
	e.dosed()
	e.stoodStill()
	e.swings()
	e.signs()
	e.sensor()
	e.gauge()
	e.codes()
	e.beside()
	e.asked()
	return e
}

// bandOf is what healthy units do by the plan's limits, else by the table.
func (e *evidence) bandOf(name string) (b band, known bool) {
	b, known = bands[name]
	for _, l := range e.plan.Limits {
		if l.Characteristic != name || l.Lower == nil && l.Upper == nil {
			continue
		}
		if !known {
			b.centre = none
		}
		b.lower, b.upper, known = none, none, true
		if l.Lower != nil {
			b.lower = *l.Lower
		}
		if l.Upper != nil {
			b.upper = *l.Upper
		}
		break
	}
	return b.settle(), known
}

// settle puts the centre inside the limits: in the middle of two, else well clear of the one.
func (b band) settle() band {
	lo, hi := !math.IsNaN(b.lower), !math.IsNaN(b.upper)
	switch {
	case lo && hi:
		b.centre = (b.lower + b.upper) / 2
	case hi && !(b.centre < 0.8*b.upper):
		b.centre = b.upper / 2
	case lo && !(b.centre > 1.1*b.lower):
		b.centre = 1.25 * b.lower
	}
	return b
}

// z standardises a value with its standard uncertainty.
func (b band) z(x, u float64) float64 {
	edge := b.upper
	if math.IsNaN(edge) || x < b.centre && !math.IsNaN(b.lower) {
		edge = b.lower
	}
	spread := math.Abs(edge-b.centre) / atLimit
	return (x - b.centre) / math.Hypot(spread, u)
}

// limits says the limits in words: "limit 1.0", "limits 0.055..0.080".
func (b band) limits() string {
	switch lo, hi := !math.IsNaN(b.lower), !math.IsNaN(b.upper); {
	case lo && hi:
		return fmt.Sprintf("limits %s..%s", short(b.lower), short(b.upper))
	case hi:
		return "limit " + short(b.upper)
	case lo:
		return "at least " + short(b.lower)
	}
	return "no limit"
}

func short(x float64) string { return strconv.FormatFloat(x, 'g', 4, 64) }

// plain takes a characteristic as it is.
func (e *evidence) plain(k key, name, words string) {
	c := measure.Find(e.chars, name, "")
	b, ok := e.bandOf(name)
	if !ok || c.State == measure.NotMeasured {
		return
	}
	z := b.z(c.Value, c.U/2)
	if c.State == measure.AtLeast && z < atLimit {
		return // a lower bound that is no worse than a healthy unit says nothing
	}
	e.f[k] = feature{known: true, z: z,
		text: fmt.Sprintf("%s %s (%s)", words, quantity(c), b.limits())}
}

// quantity writes a value with its uncertainty, in the digits of the results: "6.12 ± 0.41 mL/min", "more than 30 s".
func quantity(c measure.Characteristic) string {
	if c.Open {
		return "open circuit"
	}
	if c.State == measure.AtLeast {
		return fmt.Sprintf("more than %s %s", short(c.Value), c.Unit)
	}
	value, u := units.Format(c.Value, c.U)
	if u == "" {
		u = "0"
	}
	return fmt.Sprintf("%s ± %s %s", value, u, c.Unit)
}

// leaks parts what leaves the shut circuit into what drips from the dosing valve, what the tank
// side loses besides, and what stays inside the unit.
func (e *evidence) leaks() {
	leak, drip := measure.Find(e.chars, characteristic.LeakRate, ""), measure.Find(e.chars, characteristic.DoserLeak, "")
	loss := measure.Find(e.chars, characteristic.FluidLoss, "")
	perGram := 1000 / e.density()
	inside, u2 := leak.Value, sq(leak.U/2)
	if drip.State == measure.Measured {
		b, _ := e.bandOf(characteristic.DoserLeak)
		e.f[doserLeak] = feature{known: true, z: b.z(drip.Value, drip.U/2), normal: "nothing on the scale",
			text: fmt.Sprintf("%s on the scale with the dosing valve commanded shut (%s)", quantity(drip), b.limits())}
		inside, u2 = inside-drip.Value*perGram, u2+sq(drip.U/2*perGram)
	}
	if loss.State == measure.Measured {
		out := loss
		if drip.State == measure.Measured {
			out.Value, out.U = loss.Value-drip.Value, math.Hypot(loss.U, drip.U)
		}
		b, _ := e.bandOf(characteristic.FluidLoss)
		e.f[outsideLoss] = feature{known: true, z: b.z(out.Value, out.U/2),
			normal: "nothing lost from the tank side",
			text:   fmt.Sprintf("%s lost from the reservoir and not on the scale", quantity(out))}
		if out.Value > out.U { // what is only noise explains nothing
			inside, u2 = inside-out.Value*perGram, u2+sq(out.U/2*perGram)
		}
	}
	if leak.State != measure.Measured {
		return
	}
	b, _ := e.bandOf(characteristic.LeakRate)
	e.f[leakInside] = feature{known: true, z: b.z(inside, math.Sqrt(u2)), normal: "no leak inside",
		text: fmt.Sprintf("leak %s at %s bar with the return shut (%s)",
			quantity(leak), short(e.plan.Nominal), b.limits())}
}

func sq(x float64) float64 { return x * x }

func (e *evidence) density() float64 {
	rho, _ := measure.Density(e.rig.Fluid, 20)
	return rho
}
