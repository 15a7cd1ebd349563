package measure

import (
	"math"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// Parameter is one parameter of the circuit as identified from the whole run.
type Parameter struct {
	Name, Unit string
	Value, U   float64 // expanded, k = 2
	From       string  // "record", or "assumed" where the record says little more than what is taken for granted
	Against    string  // the characteristic that says the same from one step alone; "" for none
	En         float64 // |difference| over the root of the sum of squares of both U (ISO 13528); 0 without Against
}

// Circuit is the circuit as identified: parameters with their correlation.
type Circuit struct {
	OK          bool
	Why         string // why there is none
	Parameters  []Parameter
	Correlation [][]float64 // of Parameters, -1..1
	Scatter     []Scatter
}

// Scatter says how well one kind of observation follows the model.
type Scatter struct {
	Of    string
	N     int
	Ratio float64 // of what scatters to what was expected; above 1 the uncertainties were widened by it
}

// observation is one number that the model must meet, with its standard uncertainty.
type observation struct {
	group int
	y, u  float64
}

const (
	ofHold = iota
	ofWithdrawal
	ofShutIn
	ofRise
	ofAssumed
	numGroups
)

var groupNames = [numGroups]string{"return flow and pump in the hold", "metered withdrawal", "shut-in", "pressure rise",
	"assumed"}

// identification is one run being identified.
type identification struct {
	*Run
	circuitModel
	obs             []observation
	p               []float64 // start, then result
	bar, flow       float64   // in the hold
	turns           float64   // a second
	before, after   float64   // of the withdrawal, bar
	assumed         []assumption
	returns, rising bool
}

// assumption is a parameter that is known beforehand, the more loosely the less it says.
type assumption struct {
	parameter int
	value, u  float64
}

// What is taken for granted of the circuit where the record does not say it: one in three of units beyond.
// Common practice, no source; the check valve is the rig file's.
var usualCircuit = [...]assumption{
	{pLaminar, 0.7, 0.4},    // most leaks are past seats
	{pAir, gasPrior, 0.02},  // of the compliance
	{pYield, 0.06, 0.04},    // of the delivery a turn
	{pAirRising, 0.03, 0.1}, // more than later: it is not washed out yet
	{pLag, 0.05, 0.1},       // s
	{pShort, 0, 0.05},
}

// Circuit estimates the parameters of the circuit from all steps of a run together, by weighted nonlinear least
// squares on the model of circuit.go, with their covariance. Where a kind of observation scatters by more than
// expected, it counts for less (Birge's ratio): the model is not the circuit.
func (b *Run) Circuit() Circuit {
	id := &identification{Run: b}
	if why := id.shutIn(); why != "" {
		return Circuit{Why: why}
	}
	id.addSteadyFlow()
	id.addRise()
	for _, a := range usualCircuit {
		id.assume(a)
	}
	id.assume(assumption{pCheck, b.rig.CheckValve.Value, math.Max(b.rig.CheckValve.U/2, 0.001)})
	f, ratios, ok := id.fit()
	if !ok {
		return Circuit{Why: "the record does not determine the circuit"}
	}
	return id.circuit(f, ratios)
}

// shutIn takes the withdrawal and the stretches of the leak-down.
func (id *identification) shutIn() string {
	w, why := id.withdraw()
	if why != "" {
		return why
	}
	l, why := id.leakDown()
	if why != "" {
		return why
	}
	if len(l.stretches) == 0 {
		return "the pressure hardly moved in the leak-down step"
	}
	id.nominal, id.shut = id.plan.Nominal, l.stretches
	id.rho, _ = id.density(w.from, w.to)
	c := w.volume / w.drop / w.soft
	id.p = make([]float64, numParameters, numParameters+4)
	id.p[pCompliance], id.p[pLeak], id.p[pLaminar], id.p[pAir] = c, l.q*c, 0.7, math.Max(l.gas, 1e-3)
	id.p[pYield], id.p[pAirRising], id.p[pLag], id.p[pCheck] = 0.06, 0.03, 0.05, id.rig.CheckValve.Value
	id.p[pArea], id.p[pTurn] = 0.066, id.rig.StrokeVol // where nothing is known of them nothing depends on them
	id.before, id.after = w.before, w.after
	u := math.Hypot(w.uVolume, w.volume*w.uDrop.standard()/w.drop)
	id.obs = append(id.obs, observation{ofWithdrawal, w.volume, u})
	for _, s := range id.shut {
		id.p = append(id.p, s.y[0])
		for _, y := range s.y {
			id.obs = append(id.obs, observation{ofShutIn, y, id.shutNoise(l)})
		}
	}
	return ""
}

// shutNoise is the scatter of one point of a shut-in: of an average over a block of readings of a fine gauge, or
// of a step's instant of a coarse one, which the readings about it know to a fraction of their own.
func (id *identification) shutNoise(l leakRun) float64 {
	q := id.resolution(id.pressure)
	if l.coarse {
		return q / 20
	}
	per := math.Max(1, float64(l.span.n)/120)
	return math.Max(math.Hypot(id.ventedNoise(), q/math.Sqrt(12))/math.Sqrt(per), 1e-4)
}

// addSteadyFlow takes the steady flow through the return and what the pump moves for it.
func (id *identification) addSteadyFlow() {
	from, to, _, why := id.working()
	if why != "" {
		return
	}
	q, qb, okQ := id.average(rig.ReturnFlow, from, to)
	n, nb, okN := id.average(rig.PumpSpeed, from, to)
	p, pb, okP := id.average(id.pressure, from, to)
	if !okQ || !okN || !okP || q.value < 5 || n.value < 60 {
		return
	}
	id.returns, id.bar, id.flow, id.turns = true, p.value, q.value/60, n.value/60
	drop := math.Max(p.value-id.rig.CheckValve.Value, 0.1)
	_, uRho := id.density(from, to)
	u := id.flow * math.Sqrt(sq(qb.standard()/q.value)+sq(pb.standard()/drop/2)+sq(uRho/id.rho/2))
	id.p[pArea] = orificeArea(q.value, drop, id.rho)
	id.p[pTurn] = id.flow / id.turns
	id.obs = append(id.obs, observation{ofHold, id.flow, u}, // the return
		id.continuity(from, to, nb.standard()/n.value))
}

// continuity is what the pump moves less what the return and the leak take: what the line still gains where
// air is washed out of it, which is what the reservoir loses less what drips or is lost. relative is the standard
// uncertainty of the shaft's speed.
func (id *identification) continuity(from, to clock.Instant, relative float64) observation {
	o := observation{group: ofHold, u: id.flow * relative}
	l, ok := fitLine(id.in(rig.ReservoirMass, from, to), from, id.resolution(rig.ReservoirMass))
	if !ok {
		o.u = math.Hypot(o.u, 0.005*id.flow) // common practice, no source
		return o
	}
	perGram := 1000 / id.rho
	o.y, o.u = -l.slope*perGram, math.Hypot(o.u, l.uSlope*perGram)
	for _, c := range [...]Characteristic{id.doserLeak(), id.fluidLoss()} {
		if c.State == Measured {
			o.y, o.u = o.y-c.Value*perGram/60, math.Hypot(o.u, c.U/2*perGram/60)
		}
	}
	return o
}

// addRise takes the rise to nominal pressure, where the speed of the shaft is known as it turns.
func (id *identification) addRise() {
	s, ok := id.first(scenario.Pressurise)
	speed := id.rec.Channels[rig.PumpSpeed]
	if !id.returns { // nothing depends on them then, and nothing is said of them
		id.assume(assumption{pArea, id.p[pArea], id.p[pArea]})
		id.assume(assumption{pTurn, id.p[pTurn], math.Max(id.p[pTurn], 0.01)})
	}
	if !ok || !id.returns || s.Outcome != samples.Done || id.every(rig.PumpSpeed) > 0.05 {
		return
	}
	w := id.overShaft(id.in(id.pressure, s.Start, s.End), s)
	if len(w.V) < 60 {
		return
	}
	if top := firstAbove(w.V, 0.97*id.nominal); top > 0 {
		w = samples.Series{T: w.T[:top], V: w.V[:top]}
	}
	if len(w.V) < 60 || w.V[len(w.V)-1]-w.V[0] < 0.3*id.nominal {
		return
	}
	id.circuitModel.rise = thinned(w, speed, w.T[0])
	id.rising = true
	id.p = append(id.p, id.circuitModel.rise.y[0])
	for _, y := range id.circuitModel.rise.y {
		id.obs = append(id.obs, observation{ofRise, y, 0.02}) // bar: a turn's average of a pulsating waveform
	}
}

func (id *identification) assume(a assumption) {
	id.assumed = append(id.assumed, a)
	id.obs = append(id.obs, observation{ofAssumed, a.value, a.u})
}

// predict is the model's value of every observation, in the same order.
func (id *identification) predict(p, out []float64) {
	k := 0
	put := func(v float64) { out[k] = v; k++ }
	soft := law{gas: positive(p[pAir]), nominal: id.nominal}.softness(id.before, id.after)
	put(p[pCompliance] * soft * (id.before - id.after))
	start := numParameters
	for _, s := range id.shut {
		id.leakDownOf(p, p[start], s.x, out[k:k+len(s.x)])
		k, start = k+len(s.x), start+1
	}
	if id.returns {
		put(id.passes(p, id.bar))
		put(id.delivers(p, id.bar)*id.turns - id.passes(p, id.bar) - id.leaks(p, id.bar))
	}
	if id.rising {
		n := len(id.circuitModel.rise.x)
		id.buildUp(p, p[start], out[k:k+n])
		k += n
	}
	for _, a := range id.assumed {
		put(p[a.parameter])
	}
}
