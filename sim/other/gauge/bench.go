package gauge

import (
	"math"
	"math/rand/v2"

	"holdfast/sim/other/plant"
)

const kPa = 100 // in a bar

// Bench is all the instruments on one bench, with the unit's own pressure sensor. Readings are in the units
// of bench-node.dbc.
type Bench struct {
	Sensor, Reference, Flow, Speed             *Instrument
	Supply, Unit, Pump, Valve                  *Instrument
	Scale, SensorSupply, Heater                *Instrument
	FluidT, AmbientT, Barometer, Reservoir     *Instrument
	ScaleTare, ReservoirTare, Pulsation, Dents float64
	rng                                        *rand.Rand
}

// New draws the instruments of one bench and the sensor of one unit. The accuracies are those that the
// shipped rig states for such a bench (expanded, k = 2); what they are made of is invented. extra is what a
// fault adds to the unit's sensor.
func New(seed uint64, extra plant.Harm) *Bench {
	rng := rand.New(rand.NewPCG(seed, 0x6a7567656e756d62))
	b := &Bench{rng: rng}
	b.Sensor = drawn(rng, "UnitPressure", "kPa", 0.006, 0.05*kPa, 14*kPa)
	b.Sensor.Noise, b.Sensor.Step, b.Sensor.Drift = 0.002*kPa, 14*kPa/4096., 0.01*kPa/3600*rng.NormFloat64()
	b.Sensor.Offset += extra.SensorOffset / 1e3
	b.Sensor.Gain += extra.SensorGain
	b.Sensor.Noise = math.Hypot(b.Sensor.Noise, extra.SensorNoise/1e3)
	b.Reference = drawn(rng, "ReferencePressure", "kPa", 0.0004, 0.010*kPa, 16*kPa)
	b.Reference.Noise, b.Reference.Drift = 0.0008*kPa, 0.002*kPa/3600*rng.NormFloat64()
	b.Flow = drawn(rng, "ReturnFlow", "mL/min", 0.0035, 0.3, 600)
	b.Flow.Lag, b.Flow.Noise = 0.25+0.1*rng.Float64(), 0.05
	b.Pulsation = 0.0015 * rng.Float64() // over-reads in pulsating flow
	b.Speed = drawn(rng, "PumpSpeed", "rpm", 0.0012, 0.4, 0)
	b.Speed.Hysteresis = 0
	b.Supply = drawn(rng, "SupplyVoltage", "V", 0.0008, 0.007, 0)
	b.Unit = drawn(rng, "UnitVoltage", "V", 0.0008, 0.007, 0)
	b.Pump = drawn(rng, "PumpCurrent", "A", 0.004, 0.006, 0)
	b.Valve = drawn(rng, "ValveCurrent", "A", 0.004, 0.003, 0)
	b.Heater = drawn(rng, "HeaterCurrent", "A", 0.004, 0.006, 0)
	b.SensorSupply = drawn(rng, "SensorSupplyVoltage", "V", 0.0008, 0.004, 0)
	for _, i := range []*Instrument{b.Supply, b.Unit, b.Pump, b.Valve, b.Heater, b.SensorSupply} {
		i.Hysteresis, i.Noise = 0, 0.001
	}
	b.Pump.Lag, b.Valve.Lag = 0.012, 0.002
	b.Scale = drawn(rng, "ScaleMass", "g", 1e-4, 0.012, 400)
	b.Scale.Lag, b.Scale.Noise, b.Scale.Step, b.Scale.Drift = 0.3, 0.003, 0.01, 0.0015/60*rng.NormFloat64()
	b.Reservoir = drawn(rng, "ReservoirMass", "g", 3e-5, 0.1, 3000)
	b.Reservoir.Lag, b.Reservoir.Noise, b.Reservoir.Drift = 0.6, 0.03, 0.008/60*rng.NormFloat64()
	b.FluidT = drawn(rng, "FluidTemperature", "degC", 0, 0.25, 0)
	b.AmbientT = drawn(rng, "AmbientTemperature", "degC", 0, 0.4, 0)
	b.FluidT.Lag, b.AmbientT.Lag = 9, 25
	b.FluidT.Hysteresis, b.AmbientT.Hysteresis = 0, 0
	b.FluidT.Noise, b.AmbientT.Noise = 0.02, 0.02
	b.Barometer = drawn(rng, "AmbientPressure", "kPa", 0, 0.08, 0)
	b.Barometer.Hysteresis, b.Barometer.Noise = 0, 0.003
	b.ScaleTare, b.ReservoirTare = 80+60*rng.Float64(), 250+200*rng.Float64()
	b.Dents = 0.006 // V, ripple of the supply
	return b
}

// Hydraulics are UnitPressure, ReferencePressure (kPa absolute), ReturnFlow (mL/min), PumpSpeed (r/min). A
// NaN is the error indicator.
func (b *Bench) Hydraulics(q plant.Probe) [4]float64 {
	outside := b.Outside(q)
	return [4]float64{b.Own(q), outside[0], outside[1], max(0, b.turning(q))}
}

// Outside are ReferencePressure and ReturnFlow alone.
func (b *Bench) Outside(q plant.Probe) [2]float64 {
	flow := q.Back*(1+b.Pulsation) + 0.6*q.BackGas // the meter's gears turn with air, too
	return [2]float64{b.Reference.Read(q.T, q.AtGauge*kPa, b.rng) + q.Barometer/1e3, max(0, b.Flow.Read(q.T,
		min(flow, 620), b.rng))}
}

// Own is the unit's pressure sensor, kPa absolute; NaN for an open wire.
func (b *Bench) Own(q plant.Probe) float64 {
	air := q.Barometer / 1e3
	own := b.Sensor.Read(q.T, q.AtSensor*kPa, b.rng) + air
	switch {
	case q.SensorVolts < 2.5:
		own = math.NaN() // the node sees an open wire
	case q.SensorVolts < 4.4:
		own = air * 0.6 // the sensor's output stays at its lower rail
	}
	return own
}

func (b *Bench) turning(q plant.Probe) float64 {
	if q.Revolution < 10 {
		return 0
	}
	return b.Speed.Read(q.T, q.Revolution, b.rng)
}

// Electrics are SupplyVoltage, UnitVoltage, PumpCurrent, ValveCurrent.
func (b *Bench) Electrics(q plant.Probe) [4]float64 {
	dent := b.Dents * math.Sin(2*math.Pi*7.3*q.T)
	return [4]float64{b.Supply.Read(q.T, q.BenchVolts+dent, b.rng), b.Unit.Read(q.T, q.UnitVolts+dent, b.rng),
		max(0, b.Pump.Read(q.T, q.MotorAmps, b.rng)), max(0, b.Valve.Read(q.T, q.CoilAmps, b.rng))}
}

// buoyant is what a scale that was set with weights of 8000 kg/m3 shows of a fluid of 1090 kg/m3 in air of
// 1.2 kg/m3, per mass: air carries a little of it.
const buoyant = (1 - 1.2/1090) / (1 - 1.2/8000)

// Masses are ScaleMass, SensorSupplyVoltage, HeaterCurrent.
func (b *Bench) Masses(q plant.Probe) [3]float64 {
	return [3]float64{b.Scale.Read(q.T, buoyant*q.Beaker, b.rng) + b.ScaleTare, max(0, b.SensorSupply.Read(q.T,
		q.SensorVolts, b.rng)),
		max(0, b.Heater.Read(q.T, q.HeaterAmps, b.rng))}
}

// Tare sets the scale to zero at what it shows now.
func (b *Bench) Tare(q plant.Probe) { b.ScaleTare = -(buoyant*q.Beaker + b.Scale.Error(q.Beaker, q.T)) }

// Ambient are FluidTemperature, AmbientTemperature, AmbientPressure (kPa), ReservoirMass (g).
func (b *Bench) Ambient(q plant.Probe) [4]float64 {
	return [4]float64{b.FluidT.Read(q.T, q.TankCelsius, b.rng), b.AmbientT.Read(q.T, q.RoomCelsius, b.rng),
		b.Barometer.Read(q.T, q.Barometer/1e3, b.rng), b.Reservoir.Read(q.T, buoyant*q.Tank,
			b.rng) + b.ReservoirTare}
}

// All is every instrument there is.
func (b *Bench) All() []*Instrument {
	return []*Instrument{b.Sensor, b.Reference, b.Flow, b.Speed, b.Supply, b.Unit, b.Pump, b.Valve, b.Scale,
		b.SensorSupply, b.Heater,
		b.FluidT, b.AmbientT, b.Barometer, b.Reservoir}
}
