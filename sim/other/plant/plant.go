// Package plant is a DEF supply unit with its hoses and tank as physics: states, their slopes, and what can
// go wrong with it. It shares nothing with the other simulator of this repository: where the two agree, they
// agree by physics.
//
// What it has beyond a single compliance and a table of efficiencies: a pump resolved over the crank with
// dead volume and seats that close late, polytropic air in pockets and bubbles, a hose that creeps, a check
// valve with hysteresis, a line with a temperature of its own, a motor and coils that warm up, and the volume
// between pump and filter.
package plant

import (
	"math"

	"holdfast/sim/other/ode"
)

// The states. Pressures gauge in Pa, masses in kg, temperatures in °C.
const (
	crank    = iota // rad, 0 at bottom dead centre of the delivery stroke
	omega           // rad/s
	headP           // between pump and main filter
	lineP           // at the far end of the line, at the gauge's height
	lineM           // fluid in head and line
	suckM           // fluid in the suction line
	creep1          // m3 that the hose has crept
	creep2          //
	creep3          //
	lineT           //
	tankT           //
	windT           //
	coilT           //
	heatT           //
	spool           // 0 tank to line, 1 line to tank
	coilI           // A
	shut            // 0 open, 1 shut
	vented          // 0 closed, 1 open
	tankM           //
	beakerM         //
	floorM          // leaked to the outside
	casingM         // stands in the casing behind the membrane
	airedM          // evaporated from beaker and tank
	sensorP         // Pa, what the unit's sensor has taken up
	gaugeP          // Pa, what the gauge has taken up
	backV           // m3 gone back through the return since the start
	forwardV        // m3 delivered by the pump
	dosedM          // kg left through the dosing valve
	drawnM          // kg drawn out of the tank by the pump
	states
)

// Outputs is what the bench's node does to the unit.
type Outputs struct {
	Drive, Duty                       float64 // 0..1
	Return, Shut, Heater, Power, Vent bool
}

// World is a plant in motion. T is its time in s.
type World struct {
	Params
	Fluid
	Harm
	T   float64
	Out Outputs

	y      []float64
	solver *ode.Solver
	seed   uint64

	// Log, when not nil, keeps what was there after every step.
	Log *Log

	// Slow quantities, renewed with every accepted step.
	rho, rhoTank, thinner, vapour, stretch, lineLoss float64
	renewed                                          float64
	drawn, vacuum                                    float64 // kg at the end of the last turn; Pa
	checkOpen, doserOpen                             bool
	tripped                                          bool // heater protection
	airNow                                           float64
	turned                                           float64 // time of the last revolution's end, s
	period                                           float64 // its length, s
	returnNow, rising                                float64 // rising: Pa/s, the last slope of the line
}

// Tolerances of the states, absolute; the relative one is relTol.
const relTol = 5e-5

func tolerances() []float64 {
	abs := make([]float64, states)
	for i := range abs {
		abs[i] = 1e-6
	}
	for i, tol := range map[int]float64{crank: 1e-3, omega: 2e-2, headP: 200, lineP: 15, lineM: 2e-9,
		suckM: 1e-8, creep1: 1e-12,
		creep2: 1e-12, creep3: 1e-12, lineT: 1e-4, tankT: 1e-4, windT: 1e-3, coilT: 1e-3, heatT: 1e-3, spool: 1e-3,
		coilI: 1e-3,
		tankM: 1e-8, beakerM: 1e-8, floorM: 1e-8, casingM: 1e-8, airedM: 1e-9, sensorP: 120, gaugeP: 60,
		backV: 1e-11, forwardV: 1e-11,
		dosedM: 1e-8, drawnM: 1e-8} {
		abs[i] = tol
	}
	return abs
}

// New is a plant at rest with an empty line, built from one unit's numbers, a fluid and its faults.
func New(p Params, fluid Fluid, harm Harm, seed uint64) *World {
	w := &World{Params: p, Fluid: fluid, Harm: harm, y: make([]float64, states), solver: ode.New(relTol,
		tolerances()), seed: seed}
	w.y[lineT], w.y[tankT] = p.RoomCelsius, p.TankCelsius
	w.y[windT], w.y[coilT], w.y[heatT] = p.RoomCelsius, p.RoomCelsius, p.RoomCelsius
	w.y[spool] = harm.SpoolMin
	rho := fluid.Density(p.TankCelsius)
	w.y[tankM] = p.TankMass
	w.y[lineM] = rho * p.ResidueLine * p.LineVolume
	w.y[suckM] = rho * p.ResidueSuck * p.SuctionSpace
	w.renew(w.y)
	return w
}

// Advance carries the plant to until (s) with the outputs as they are.
func (w *World) Advance(until float64) error {
	if until <= w.T {
		return nil
	}
	err := w.solver.Advance(w, w.T, until, w.y)
	w.T = until
	return err
}

// Set puts new outputs on.
func (w *World) Set(o Outputs) {
	if o == w.Out {
		return
	}
	w.Out = o
	w.doserOpen = w.doserCommanded(w.T)
	w.solver.Disturbed()
}

// Steps counts the accepted steps so far.
func (w *World) Steps() int { return w.solver.Steps }

// Limit is the longest step in s: an eighth of a turn or so, and never over an edge of the dosing valve.
func (w *World) Limit(t float64, y []float64) float64 {
	h := 0.02
	if y[omega] > 1 {
		h = min(h, max(5e-4, 0.9/y[omega]))
	}
	if w.Out.Duty > 0 && w.Out.Duty < 1 {
		h = min(h, w.toEdge(t))
	}
	return min(h, w.toSnap(y[lineP]))
}

// toSnap is the time in s until the check valve snaps, by the last slope of the pressure; large when it will
// not.
func (w *World) toSnap(p float64) float64 {
	at := w.CheckOpens
	if w.checkOpen {
		at *= w.CheckShuts
	}
	if left := (at - p) / w.rising; left > 0 {
		return max(1e-4, 1.02*left)
	}
	return math.Inf(1)
}

// doserCommanded reports whether the dosing valve stands open from t on: the driver pulses from the top of
// its period, and the needle lifts late by what is lost.
func (w *World) doserCommanded(t float64) bool {
	if w.DoserNever || w.Out.Duty <= 0 {
		return false
	}
	if w.Out.Duty >= 1 {
		return true
	}
	into := w.intoPeriod(t)
	return into >= w.DoserLost+w.DoserLate && into < w.Out.Duty/w.DoserRate
}

// edgeSlack in s keeps an edge that was just reached from being found again.
const edgeSlack = 1e-9

func (w *World) intoPeriod(t float64) float64 {
	turns := (t + edgeSlack) * w.DoserRate
	return (turns - math.Floor(turns)) / w.DoserRate
}

func (w *World) toEdge(t float64) float64 {
	into := w.intoPeriod(t)
	for _, edge := range []float64{w.DoserLost + w.DoserLate, w.Out.Duty / w.DoserRate, 1 / w.DoserRate} {
		if edge > into+edgeSlack && edge <= 1/w.DoserRate {
			return edge - into + 2*edgeSlack // just past it, whatever rounding does
		}
	}
	return 1 / w.DoserRate
}

// Accepted renews what is slow, lets the valves snap and wraps the crank.
func (w *World) Accepted(t float64, y []float64) bool {
	stale := false
	switch p := y[lineP]; {
	case !w.checkOpen && p > w.CheckOpens:
		w.checkOpen, stale = true, true
	case w.checkOpen && p < w.CheckShuts*w.CheckOpens:
		w.checkOpen, stale = false, true
	}
	if open := w.doserCommanded(t); open != w.doserOpen {
		w.doserOpen, stale = open, true
	}
	if y[crank] >= 2*math.Pi {
		y[crank] -= 2 * math.Pi
		w.turn(t-y[crank]/max(y[omega], 1), y)
		stale = true
	}
	if t > w.renewed+0.05 {
		w.renewed = t
		w.protect(y)
		w.renew(y)
	}
	if w.Log != nil {
		w.Log.keep(w, t, y)
	}
	return stale
}

// turn is called at the end of a revolution: the tacho's period, and how much air comes with the next stroke.
func (w *World) turn(t float64, y []float64) {
	w.period, w.turned = t-w.turned, t
	// While air is before the pump, the vacuum follows what really came through the inlet in the last turn.
	came := (y[drawnM] - w.drawn) / w.rhoTank / max(w.period, 1e-3)
	w.drawn = y[drawnM]
	needs := min(orificeDrop(w.SuctionArea, 1.2*came, w.rhoTank), 0.9*w.Barometer)
	w.vacuum += 0.4 * (needs - w.vacuum)
	w.airNow = 0
	if w.AirShare > 0 { // slugs: a slow wave with a period of some seconds, and chance on top
		w.seed = w.seed*6364136223846793005 + 1442695040888963407
		chance := float64(w.seed>>40) / (1 << 24)
		w.airNow = min(0.9, w.AirShare*(0.6+0.5*math.Sin(2*math.Pi*t/2.7)+0.6*chance))
	}
}

// protect is the heater's resettable protection.
func (w *World) protect(y []float64) {
	if w.ProtectionOpens == 0 {
		return
	}
	if y[heatT] > w.ProtectionOpens {
		w.tripped = true
	} else if y[heatT] < w.ProtectionCloses {
		w.tripped = false
	}
}

func (w *World) renew(y []float64) {
	w.rho, w.rhoTank = w.Density(y[lineT]), w.Density(y[tankT])
	thick := w.Viscosity(y[lineT]) * w.Thicker
	w.thinner = (Fluid{}).Viscosity(20) / thick
	w.lineLoss = 8 * thick * w.LineLength / (math.Pi * w.LineRadius * w.LineRadius * w.LineRadius * w.LineRadius)
	w.vapour = w.VapourPressure(y[tankT])
	w.stretch = w.HoseStretch * (1 - w.Creep1 - w.Creep2 - w.Creep3)
	w.returnNow = w.ReturnArea
	if w.CrystalsUntil > 0 && w.T < w.CrystalsUntil {
		w.returnNow *= w.CrystalShare
	}
}
