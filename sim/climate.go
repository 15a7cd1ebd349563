package sim

import (
	"math"

	"holdfast/sim/fluid"
)

// How the fluid in line and unit takes up heat. Common practice, no source.
const (
	bathTime     = 900.0  // s: fluid in the line to the room
	heatCapacity = 1500.0 // J/K, of the unit with what is in it
	iceFriction  = 0.12   // N m, of a pump full of ice
	iceWarmth    = 3.0    // W/K from the room to a frozen unit
)

// warm moves the fluid's temperature: to the room's while it stands, to the tank's as it is
// pumped; the heater's heat goes into the unit. As long as there is ice it only melts.
func (p *plant) warm(pumped float64) {
	heat := p.unit.Heater.Warms()
	if p.ice > 0 {
		heat += iceWarmth * (p.design.room - fluid.CrystallisationPoint)
		p.ice = min(max(0, p.ice-heat*tick/fluid.LatentHeat), p.design.ice)
		p.freeze()
		return
	}
	p.celsius += (p.design.room-p.celsius)*tick/bathTime + heat*tick/heatCapacity
	p.celsius += (p.design.tank - p.celsius) * min(max(pumped/p.circuit.LineVolume, 0), 1)
	if math.Abs(p.celsius-p.settled) > 1e-3 { // 1 mK moves a shut-in line by less than the gauge resolves
		p.takeProperties()
	}
}

// freeze takes over what ice does: it clogs the suction side and holds the pump.
func (p *plant) freeze() {
	if p.design.ice <= 0 {
		return
	}
	share := p.ice / frozenMass
	p.unit.InletCdA = p.design.unit.InletCdA
	p.unit.Motor.Friction = p.design.unit.Motor.Friction + iceFriction*share
	if share > 0 {
		p.unit.InletCdA = blocked(share) * max(0.01, 1-share)
		p.celsius = fluid.CrystallisationPoint
	}
}

// takeProperties gives circuit and pump the fluid at its temperature now.
func (p *plant) takeProperties() {
	p.settled = p.celsius
	at := p.design.batch.Shift(p.kind.At(p.celsius))
	if p.design.water > 0 {
		at = fluid.Mix(at, fluid.Water.At(p.celsius), p.design.water)
	}
	p.circuit.SetFluid(at, p.celsius)
	p.port.Density, p.port.Suction = at.Density, p.design.ambient-at.VapourPressure
	p.port.Celsius = p.celsius
}

// urea is how much of the fluid's mass is urea, %: 32.5 in the middle of AUS 32, less where water was let in
// (a share by volume, as in fluid.Mix).
func (p *plant) urea() float64 {
	if p.kind != fluid.DEF {
		return 0
	}
	own, added := p.design.batch.Shift(p.kind.At(p.celsius)).Density, fluid.Water.At(p.celsius).Density
	share := p.design.water
	return (32.5 + p.design.batch.Urea) * (1 - share) * own / ((1-share)*own + share*added)
}
