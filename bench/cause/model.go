package cause

import "math"

// effect is what a fault does to a feature.
type effect uint8

const (
	same   effect = iota // nothing: as in a healthy unit
	up                   // raised by whatever the severity is
	down                 // lowered
	mayUp                // raised or untouched
	mayDn                // lowered or untouched
	moved                // one way or the other
	may                  // one way, the other or untouched
	upIf                 // raised when severe, mostly untouched
	seldom               // raised at the worst only
)

// pattern is one cause: how common it is, what it does and what to open first.
type pattern struct {
	name, title, open string
	prior             float64
	effects           map[key]effect
}

// Names of the causes that are no fault of the unit.
const (
	Healthy      = "healthy"
	BenchProblem = "bench-problem"
)

// patterns says what each fault does, from the bench's table of causes. Priors: half of the units
// on a bench are healthy, and the membrane is the usual failure: common practice, no source; the figures
// are ours. Effects and weights were adjusted while watching faults on the simulated bench, so that
// how well they do there is no independent proof.
var patterns = [...]pattern{
	{Healthy, "nothing found", "Nothing to open.", 0.50, nil},
	{"membrane-split", "pump membrane split", "Open the pump head first.", 0.10, map[key]effect{
		leakInside: up, laminar: down, efficiency: mayDn, drive: mayUp, notReached: seldom,
		primeVain: seldom, prime: upIf, changeover: upIf,
		regulated: upIf, ripple: may, fallWithLoad: mayUp, collapse: seldom}},
	{"outlet-valve-leak", "pump outlet valve seat leaking", "Open the pump head and look at the outlet valve's seat.",
		0.03, map[key]effect{leakInside: up, laminar: up, efficiency: mayDn, drive: mayUp,
			fallWithLoad: mayUp,
			ripple:       may, collapse: seldom}},
	{"inlet-valve-leak", "pump inlet valve seat leaking", "Open the pump head and look at the inlet valve's seat.",
		0.02, map[key]effect{efficiency: down, fallWithLoad: up, drive: mayUp, prime: mayUp,
			notReached: seldom, primeVain: seldom,
			ripple: may}},
	{"pump-worn", "pump worn: short stroke or worn eccentric",
		"Open the pump and measure stroke and eccentric.",
		0.05, map[key]effect{efficiency: down, drive: up, prime: mayUp, notReached: seldom,
			primeVain: seldom, ripple: may, purge: mayUp,
			changeover: mayUp}},
	{"motor-worn", "pump motor worn or stiff", "Turn the pump by hand; measure the motor's current free.",
		0.03, map[key]effect{freeCurrent: up, drive: mayUp, prime: mayUp, notReached: seldom,
			primeVain: seldom}},
	{"filter-blocked", "main filter blocked", "Change the main filter.",
		0.04, map[key]effect{freeCurrent: up, fallWithLoad: down, efficiency: mayDn, drive: mayUp,
			prime:      mayUp,
			notReached: seldom, primeVain: seldom, ripple: may}},
	{"inlet-blocked", "inlet filter or suction line blocked", "Look at the inlet filter and the suction line.",
		0.03, map[key]effect{fallWithLoad: down, efficiency: mayDn, drive: mayUp, prime: mayUp,
			notReached: mayUp, primeVain: mayUp, stillFilling: up,
			dosing: may, regulated: may, ripple: may, purge: may}},
	{"suction-air", "air drawn in at the suction side",
		"Check the suction line's fittings and the tank pick-up.",
		0.04, map[key]effect{softness: mayUp, ripple: may, unsteady: up, dosing: mayDn,
			efficiency: mayDn, drive: mayUp, prime: mayUp, fallWithLoad: mayDn,
			restriction: may, notReached: mayUp, primeVain: seldom, purge: may}},
	{"return-fouled", "return restriction fouled", "Take out the return restriction and clean it.",
		0.04, map[key]effect{restriction: down, drive: mayDn, ripple: may, fallWithLoad: may,
			regulated: may}},
	{"return-eroded", "return restriction eroded", "Take out the return restriction and measure its bore.",
		0.02, map[key]effect{restriction: up, drive: mayUp, notReached: upIf, primeVain: seldom,
			ripple: may, fallWithLoad: may,
			unsteady: upIf}},
	{"return-check-stuck", "return check valve stuck", "Take out the return check valve.",
		0.01, map[key]effect{checkOpens: up, restriction: mayDn, drive: mayDn, notReached: upIf,
			prime:     mayDn,
			regulated: may, fallWithLoad: may, efficiency: may}},
	{"return-check-leak", "return check valve leaking", "Take out the return check valve and look at its seat.",
		0.01, map[key]effect{purge: mayUp, changeover: upIf}},
	{"return-valve-stuck", "directional valve stuck forward",
		"Take out the directional valve: its coil draws current.",
		0.03, map[key]effect{purge: mayUp, changeover: up, notReached: seldom}},
	{"return-valve-reverse", "directional valve does not come back", "Take out the directional valve and free its spool.",
		0.01, map[key]effect{collapse: up, notReached: mayUp, primeVain: mayUp, stillFilling: may,
			nothingBuilt: mayUp, efficiency: down, fallWithLoad: mayUp,
			drive: mayUp, prime: mayUp, leakInside: mayUp, laminar: may, purge: may, changeover: may}},
	{"return-valve-coil", "coil of the directional valve", "Measure the coil and its wiring at the plug.",
		0.02, map[key]effect{coil: up, changeover: mayUp, purge: mayUp}},
	{"doser-drip", "dosing valve drips", "Take out the dosing valve and look at its seat.",
		0.03, map[key]effect{doserLeak: up, dosing: mayUp, dosingSpread: mayUp, fallWithLoad: upIf,
			laminar: may}},
	{"doser-stuck-open", "dosing valve does not close",
		"Take out the dosing valve: its needle does not come home.",
		0.01, map[key]effect{doserLeak: up, pours: mayUp, dosing: mayUp, dosingSpread: mayUp,
			leakInside: may,
			laminar:    may, purge: may, fallWithLoad: may, softness: mayDn, drive: mayUp, collapse: mayUp}},
	{"doser-stuck-shut", "dosing valve opens late or not at all", "Check the dosing valve's coil, then its needle.",
		0.02, map[key]effect{dosing: down, nothingDosed: mayUp, dosingSpread: mayDn, purge: mayUp,
			fallWithLoad: may}},
	{"doser-blocked", "dosing valve partly blocked", "Clean the dosing valve of crystals.",
		0.02, map[key]effect{dosing: down, purge: mayUp, fallWithLoad: may}},
	{"outside-leak", "leak to the outside", "Look for drips at fittings and line under pressure.",
		0.04, map[key]effect{outsideLoss: up, drive: upIf, efficiency: upIf, laminar: may, collapse: upIf,
			fallWithLoad: upIf}},
	{"sensor-offset", "pressure sensor offset", "Check the sensor's plug and ground, then replace the sensor.",
		0.02, map[key]effect{zero: moved, span: may, regulated: may, drive: may, notReached: seldom,
			primeVain: seldom}},
	{"sensor-gain", "pressure sensor gain", "Replace the sensor once its supply is known to be good.",
		0.01, map[key]effect{span: moved, regulated: may, drive: may, notReached: seldom,
			primeVain: seldom}},
	{"sensor-noisy", "pressure sensor noisy", "Check the sensor's plug and screen, then replace the sensor.",
		0.01, map[key]effect{sensorNoise: up, unsteady: mayUp, drive: may, regulated: may,
			notReached: mayUp, primeVain: seldom,
			ripple: mayUp, zero: may, span: may}},
	{"sensor-supply-lost", "pressure sensor supply lost",
		"Wiring first, sensor last: trace the 5 V supply and its ground.",
		0.03, map[key]effect{supply: down, pinned: mayUp, zero: may, span: may, regulated: may, drive: may,
			notReached: upIf, primeVain: upIf, prime: may, sensorNoise: may}},
	{"supply-resistance", "supply or track corroded", "Measure the drop over plug, track and ground under load.",
		0.02, map[key]effect{wiring: up, drive: mayUp, prime: mayUp, heater: may, coil: may}},
	{"heater-open", "heater open", "Measure the heater at its plug.",
		0.012, map[key]effect{heater: up, heaterGone: mayUp}},
	{"heater-protection", "heater's protection open", "Let it cool and measure again; then its protection.",
		0.03, map[key]effect{heater: mayUp, heaterGone: mayUp, heaterFell: mayUp}},
	{"fluid-frozen", "fluid frozen", "Thaw the unit; nothing is to be opened.",
		0.005, map[key]effect{cold: up, freeCurrent: mayUp, efficiency: mayDn, drive: mayUp, prime: mayUp,
			notReached: mayUp, primeVain: mayUp, stillFilling: mayUp, nothingBuilt: upIf,
			fallWithLoad: upIf, unsteady: mayUp, leakInside: upIf, purge: upIf, heater: upIf,
			coil: upIf, dosing: upIf, restriction: upIf, checkOpens: upIf, regulated: upIf, ripple: upIf}},
	{"wrong-fluid", "wrong fluid or too little urea",
		"Test the fluid before the unit: density or refractive index.",
		0.005, map[key]effect{fallWithLoad: mayDn, dosing: mayDn, restriction: mayUp, purge: mayUp}},
}

// How much less likely a limit is to be broken by more than its uncertainty by a healthy unit, and by a
// fault that does nothing to what is broken. Our choice.
const (
	failedHealthy   = 1e-4
	failedOtherwise = 0.01
)

// weights below one are for features that mostly repeat what others have said.
var weights = [numKeys]float64{leakInside: 1, doserLeak: 1, outsideLoss: 1, restriction: 1,
	efficiency: 1, drive: 0.5,
	notReached: 1, primeVain: 1, prime: 0.7, softness: 1, ripple: 0.3, unsteady: 1, dosing: 0.7,
	supply: 1, pinned: 1, zero: 1, span: 0.7,
	regulated: 0.4, purge: 0.7, changeover: 1,
	freeCurrent: 1, checkOpens: 1, fallWithLoad: 0.7, sensorNoise: 1, wiring: 1, cold: 1, heater: 1,
	heaterFell: 1,
	coil:       1, collapse: 1, stillFilling: 1, nothingBuilt: 1, nothingDosed: 1, heaterGone: 1,
	laminar: 0.7, pours: 0.7, dosingSpread: 0.7}

// likelihood is the density of a standardised feature under an effect.
func likelihood(z float64, e effect) float64 {
	h, u, d := healthyDensity(z), raised(z), raised(-z)
	switch e {
	case up:
		return 0.05*h + 0.95*u
	case down:
		return 0.05*h + 0.95*d
	case mayUp:
		return 0.5*h + 0.5*u
	case mayDn:
		return 0.5*h + 0.5*d
	case moved:
		return 0.05*h + 0.475*u + 0.475*d
	case may:
		return 0.5*h + 0.25*u + 0.25*d
	case upIf:
		return 0.8*h + 0.1*u + 0.1*d
	case seldom:
		return 0.97*h + 0.03*u
	}
	return h
}

// stray is the share of healthy readings that are out of line for reasons of their own: without
// it one odd reading would outweigh everything else.
const stray = 0.004

func healthyDensity(z float64) float64 {
	return (1-stray)*math.Exp(-z*z/2)/math.Sqrt(2*math.Pi) + stray/2*(raised(z)+raised(-z))
}

// raised is the density of a feature that a fault has raised by a severity that may be
// anything: uniform in the logarithm from 1.5 to 150 spreads, blurred by one spread below, with an
// exponential tail above.
func raised(z float64) float64 {
	switch {
	case z > raisedTo:
		return raisedNorm / raisedTo * math.Exp(-(z-raisedTo)/raisedTo)
	case z >= raisedFrom:
		return raisedNorm / z
	}
	return raisedNorm / raisedFrom * math.Exp(-(raisedFrom-z)*(raisedFrom-z)/2)
}

const raisedFrom, raisedTo = 1.5, 150.0

// raisedNorm makes raised integrate to one: blur, logarithm and tail.
var raisedNorm = 1 / (math.Sqrt(math.Pi/2)/raisedFrom + math.Log(raisedTo/raisedFrom) + 1)
