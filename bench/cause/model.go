package cause

import "math"

// effect is what a fault does to a feature.
type effect uint8

const (
	same  effect = iota // nothing: as in a healthy unit
	up                  // raised by whatever the severity is
	down                // lowered
	mayUp               // raised or untouched
	mayDn               // lowered or untouched
	moved               // one way or the other
	may                 // one way, the other or untouched
	upIf                // raised when severe, mostly untouched
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
// are ours. Effects and weights were adjusted while watching the ten faults on the simulated bench, so that
// how well they do there is no independent proof, and the probabilities are not calibrated yet.
var patterns = [...]pattern{
	{Healthy, "nothing found", "Nothing to open.", 0.50, nil},
	{"membrane-split", "pump membrane split", "Open the pump head first.", 0.12, map[key]effect{
		leakInside: up, efficiency: mayDn, drive: mayUp, notReached: upIf, prime: upIf, changeover: upIf,
		regulated: upIf, ripple: may}},
	{"pump-worn", "pump worn: short stroke or worn eccentric", "Open the pump and measure stroke and eccentric.",
		0.06, map[key]effect{efficiency: down, drive: up, prime: mayUp, notReached: upIf, ripple: may, purge: mayUp,
			changeover: mayUp}},
	{"return-fouled", "return restriction fouled", "Take out the return restriction and clean it.",
		0.06, map[key]effect{restriction: down, drive: mayDn, ripple: may}},
	{"return-eroded", "return restriction eroded", "Take out the return restriction and measure its bore.",
		0.03, map[key]effect{restriction: up, drive: mayUp, notReached: upIf, ripple: may}},
	{"return-valve-stuck", "directional valve stuck forward",
		"Take out the directional valve: its coil draws current.",
		0.05, map[key]effect{purge: mayUp, changeover: up, notReached: upIf}},
	{"sensor-offset", "pressure sensor offset", "Check the sensor's plug and ground, then replace the sensor.",
		0.03, map[key]effect{zero: moved, span: may, regulated: may, drive: may, notReached: upIf}},
	{"sensor-supply-lost", "pressure sensor supply lost",
		"Wiring first, sensor last: trace the 5 V supply and its ground.",
		0.05, map[key]effect{supply: down, pinned: mayUp, zero: may, span: may, regulated: may, drive: may,
			notReached: upIf, prime: may}},
	{"doser-drip", "dosing valve drips", "Take out the dosing valve and look at its seat.",
		0.05, map[key]effect{doserLeak: up, dosing: mayUp}},
	{"suction-air", "air drawn in at the suction side",
		"Check the suction line's fittings and the tank pick-up.",
		0.05, map[key]effect{softness: mayUp, ripple: may, unsteady: up, dosing: mayDn,
			efficiency: down, drive: mayUp, prime: mayUp,
			restriction: may, notReached: upIf, purge: may}},
	{"outside-leak", "leak to the outside", "Look for drips at fittings and line under pressure.",
		0.05, map[key]effect{outsideLoss: up, drive: upIf, efficiency: upIf}},
}

// failedHealthy is how much less likely a healthy unit is than a faulty one to break a limit by more
// than its uncertainty.
const failedHealthy = 0.01

// weights below one are for features that mostly repeat what others have said.
var weights = [numKeys]float64{leakInside: 1, doserLeak: 1, outsideLoss: 1, restriction: 1,
	efficiency: 1, drive: 0.5,
	notReached: 0.5, prime: 0.7, softness: 1, ripple: 0.3, unsteady: 1, dosing: 0.7,
	supply: 1, pinned: 1, zero: 1, span: 0.7,
	regulated: 0.4, purge: 0.7, changeover: 1}

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
