package cause

import (
	"fmt"
	"math"
	"strconv"

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
	numKeys
)

// band is what healthy units do where the plan sets no limit: the reference unit's centre and the
// shipped example limits (bench table of characteristics).
type band struct{ centre, lower, upper float64 }

var none = math.NaN()

var bands = map[string]band{
	"leak_rate":             {0.1, none, 1.0},
	"doser_leak":            {0, none, 0.2},
	"fluid_loss":            {0, none, 1.0}, // ours: what a drip at a fitting gives, common practice, no source
	"restriction_area":      {0.066, 0.055, 0.080},
	"volumetric_efficiency": {90, 80, none}, // ours
	"hold_drive":            {45, 30, 60},
	"fill_pressure":         {0.34, 0.2, 0.6}, // of the reference unit: 0.3 bar opens its check valve
	"prime_time":            {20, none, 30},
	"compliance":            {0.4, none, 0.6}, // ours
	"ripple":                {0.2, none, 0.5},
	"dosing_error":          {0, -5, 5},
	"sensor_supply":         {5, 4.75, 5.25},
	"sensor_zero":           {0, -0.15, 0.15},
	"sensor_span_error":     {0, -2, 2},
	"regulated_pressure":    {9, 8.7, 9.3},
	"purge_time":            {35, none, 45},
	"purge_residual":        {3, none, 6},
	"changeover_time":       {0.1, none, 0.5},
	"coil_resistance":       {18, 15, 21},
	"heater_resistance":     {4, 3.4, 4.6},
}

// evidence is everything that Rank weighs.
type evidence struct {
	chars []measure.Characteristic
	rec   *samples.Recording
	rig   *rig.Rig
	plan  *scenario.Plan
	seen  observed
	f     [numKeys]feature
	logs  [numKeys][len(stages)][numEffects]float64 // weighed log densities
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

func observe(rec *samples.Recording, r *rig.Rig, p *scenario.Plan) observed {
	o := observed{Signs: measure.ReadSigns(rec, r, p)}
	o.Swing, o.Swings = measure.Unsteadiness(rec, r, p)
	o.StoodAt, o.Stood = measure.Pinned(rec, r)
	for i := range rec.Channels {
		o.Readings[i] = len(rec.Channels[i].V)
	}
	return o
}

func gather(chars []measure.Characteristic, seen observed, rec *samples.Recording, r *rig.Rig,
	p *scenario.Plan) *evidence {
	e := &evidence{chars: chars, seen: seen, rec: rec, rig: r, plan: p}
	e.leaks()
	e.plain(restriction, "restriction_area", "return restriction area")
	e.plain(efficiency, "volumetric_efficiency", "volumetric efficiency of the pump")
	e.plain(drive, "hold_drive", "drive to hold pressure")
	e.plain(opening, "fill_pressure", "the air of the empty line goes out through the return at")
	e.plain(prime, "prime_time", "prime time")
	e.plain(softness, "compliance", "compliance")
	e.plain(ripple, "ripple", "ripple")
	e.plain(zero, "sensor_zero", "sensor reading, vented, against the reference")
	e.plain(span, "sensor_span_error", "sensor under pressure against the reference")
	e.plain(regulated, "regulated_pressure", "line pressure on the gauge in the hold")
	e.plain(supply, "sensor_supply", "sensor supply")
	e.f[supply].normal = "sensor supply in order"
	e.plain(changeover, "changeover_time", "changeover of the return valve")
	e.unreached()
	e.purged()
	e.dosed()
	e.stoodStill()
	e.swings()
	e.signs()
	e.sensor()
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
	leak, drip := measure.Find(e.chars, "leak_rate", ""), measure.Find(e.chars, "doser_leak", "")
	loss := measure.Find(e.chars, "fluid_loss", "")
	perGram := 1000 / e.density()
	inside, u2 := leak.Value, sq(leak.U/2)
	if drip.State == measure.Measured {
		b, _ := e.bandOf("doser_leak")
		e.f[doserLeak] = feature{known: true, z: b.z(drip.Value, drip.U/2), normal: "nothing on the scale",
			text: fmt.Sprintf("%s on the scale with the dosing valve commanded shut (%s)", quantity(drip), b.limits())}
		inside, u2 = inside-drip.Value*perGram, u2+sq(drip.U/2*perGram)
	}
	if loss.State == measure.Measured {
		out := loss
		if drip.State == measure.Measured {
			out.Value, out.U = loss.Value-drip.Value, math.Hypot(loss.U, drip.U)
		}
		b, _ := e.bandOf("fluid_loss")
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
	b, _ := e.bandOf("leak_rate")
	e.f[leakInside] = feature{known: true, z: b.z(inside, math.Sqrt(u2)), normal: "no leak inside",
		text: fmt.Sprintf("leak %s at %s bar with the return shut (%s)",
			quantity(leak), short(e.plan.Nominal), b.limits())}
}

func sq(x float64) float64 { return x * x }

func (e *evidence) density() float64 {
	rho, _ := measure.Density(e.rig.Fluid, 20)
	return rho
}
