package cause

import "math"

// stage is how far a fault has gone. How far is not known, so that every cause is weighed as light, as plain
// and as severe and the three are averaged: what a fault moves, it moves together. Were each sign left free to
// move or not by itself, a light fault of a cause that can do much would be punished for each thing that it
// has not done yet.
type stage struct {
	from, to float64 // by how many spreads of healthy units a sign is moved, when it is
	norm     float64 // makes the density of that integrate to one
	moves    [numEffects]float64
}

// stages and how likely each effect shows at each: our choice, set on the simulated bench with campaign seeds
// 1001 to 1003 (release on bench-node, release-controller on unit-controller) and judged on others.
var stages = [...]stage{
	newStage(1.2, 15, map[effect]float64{up: 0.85, mayUp: 0.15, upIf: 0.02, seldom: 0.003}),
	newStage(1.5, 60, map[effect]float64{up: 0.95, mayUp: 0.5, upIf: 0.15, seldom: 0.02}),
	newStage(2.5, 200, map[effect]float64{up: 0.98, mayUp: 0.8, upIf: 0.4, seldom: 0.15}),
}

// sharpness is the power to which the evidence is taken (calibration by temperature, 1/sharpness: Guo et al., On
// Calibration of Modern Neural Networks, 2017, 4.2, from memory). The densities are wider than what faults do, so
// that without it what is as good as certain would be called likely. Fitted on the tuning seeds.
const sharpness = 2.0

const plainly = 1 // the middle stage

func newStage(from, to float64, moves map[effect]float64) stage {
	g := stage{from: from, to: to, norm: 1 / (math.Sqrt(math.Pi/2)/from + math.Log(to/from) + 1)}
	for e, as := range [numEffects]effect{up: up, down: up, moved: up, mayUp: mayUp, mayDn: mayUp, may: mayUp,
		upIf: upIf, seldom: seldom} {
		g.moves[e] = moves[as]
	}
	return g
}

// raised is the density of a sign that a fault has raised by an amount that may be anything: uniform in the
// logarithm between the two ends, blurred by one spread below, with an exponential tail above.
func (g *stage) raised(z float64) float64 {
	switch {
	case z > g.to:
		return g.norm / g.to * math.Exp(-(z-g.to)/g.to)
	case z >= g.from:
		return g.norm / z
	}
	return g.norm / g.from * math.Exp(-(g.from-z)*(g.from-z)/2)
}

// likelihood is the density of a standardised sign under an effect.
func (g *stage) likelihood(z float64, e effect) float64 {
	h := healthyDensity(z)
	m := g.moves[e]
	switch e {
	case up, mayUp, seldom:
		return (1-m)*h + m*g.raised(z)
	case down, mayDn:
		return (1-m)*h + m*g.raised(-z)
	case moved, may, upIf:
		return (1-m)*h + m/2*(g.raised(z)+g.raised(-z))
	case slight:
		return math.Exp(-z*z/(2*slightly*slightly)) / (slightly * math.Sqrt(2*math.Pi))
	}
	return h
}

// slightly is the standard deviation, in spreads of healthy units, of what a cause moves slightly.
const slightly = 2.0

// density is how likely a cause makes a feature. A feature that parts two causes says nothing of the others.
func (f *feature) density(g *stage, e effect) float64 {
	switch {
	case f.apart == 0:
		return g.likelihood(f.z, e)
	case e == above:
		return f.onUpperSide()
	case e == below:
		return 1 - f.onUpperSide()
	}
	return 0.5
}

// How well the two values that a sign parts are known: to such a share of what they lie apart. And how dense it is where
// something else has moved it: in one unit of twenty, by anything up to ten of its uncertainties. Our choice.
const (
	centresKnown = 0.1
	movedByElse  = 0.05 / 20
)

// onUpperSide is what the cause on the upper side has of the two, were they as common. A sign that lies far from where
// either puts it was moved by something else, and says nothing.
func (f *feature) onUpperSide() float64 {
	width := math.Hypot(1, centresKnown*f.apart)
	upper, lower := gauss((f.z-f.apart/2)/width)+movedByElse, gauss((f.z+f.apart/2)/width)+movedByElse
	return upper / (upper + lower)
}

// gauss is the density of the standard normal distribution.
func gauss(z float64) float64 { return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) }

// stray is the share of healthy readings that are out of line for reasons of their own: without
// it one odd reading would outweigh everything else.
const stray = 0.004

func healthyDensity(z float64) float64 {
	g := &stages[plainly]
	return (1-stray)*math.Exp(-z*z/2)/math.Sqrt(2*math.Pi) + stray/2*(g.raised(z)+g.raised(-z))
}

// weigh works out, once for all causes, what each sign says for each effect at each stage; nothing where it is
// not known.
func (e *evidence) weigh() {
	for k := range numKeys {
		if f := &e.f[k]; f.known {
			for i := range stages {
				for effect := range numEffects {
					e.logs[k][i][effect] = f.weight(k) * math.Log(f.density(&stages[i], effect))
				}
			}
		}
	}
}

// weight is the power to which a sign is taken. One that parts two causes is no wider than it is: not sharpened.
func (f *feature) weight(k key) float64 {
	if f.apart > 0 {
		return weights[k] / sharpness
	}
	return weights[k]
}
