package vehicle

import (
	"math"
	"math/rand/v2"
	"time"
)

// engine is the engine, the road and what the exhaust does with them.
type engine struct {
	running  bool
	idle     bool
	load     float64 // 0 to 1
	target   float64
	until    time.Duration // in the leg: when the target changes
	rpm      float64
	kmh      float64
	catalyst float64 // °C, intake
	outlet   float64
	km       float64
	hours    float64
	noxIn    float64
	noxOut   float64
}

// step moves the engine by one tick; at is the time in the leg and left the time to key-off: a truck stands
// before that.
func (e *engine) step(r *rand.Rand, at, left time.Duration, convert float64) {
	dt := tick.Seconds()
	e.running = left > 0 && at > 2*time.Second
	if at >= e.until {
		e.until = at + time.Duration(15+r.IntN(60))*time.Second
		e.target = 0.1 + 0.9*r.Float64()
		e.idle = r.IntN(8) == 0 || at < time.Minute
	}
	if e.idle = e.idle || left < 90*time.Second; e.idle {
		e.target = 0.08
	}
	hot := 25.0
	if e.running {
		e.load += (e.target - e.load) * dt / 4
		hot = 190 + 260*e.load
		e.rpm += (e.wantedRPM() - e.rpm) * dt
		e.hours += tick.Hours()
	} else {
		e.load, e.rpm = 0, 0
	}
	speed := 0.0
	if e.running && !e.idle {
		speed = 50 + 36*e.load
	}
	e.kmh += (speed - e.kmh) * dt / 8
	e.km += e.kmh * tick.Hours()
	tau := 90.0
	if !e.running {
		tau = 2400
	}
	e.catalyst += (hot - e.catalyst) * dt / tau
	e.outlet += (e.catalyst - 8 - e.outlet) * dt / 60
	e.noxIn, e.noxOut = 0, 0
	if e.running {
		e.noxIn = 150 + 850*e.load + 8*r.NormFloat64()
		e.noxOut = e.noxIn*(1-convert) + 3*r.NormFloat64()
	}
}

func (e *engine) wantedRPM() float64 {
	if e.idle {
		return 600
	}
	return 1000 + 450*e.load
}

// demand is the DEF wanted, g/h: with the NOx to convert.
func (e *engine) demand() float64 { return 300 + 3000*e.load }

// coldAir is the ambient temperature over the day, °C.
func coldAir(base float64, hour float64) float64 { return base + 4*math.Sin(2*math.Pi*(hour-3)/24) }
