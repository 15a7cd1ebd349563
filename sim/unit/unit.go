package unit

import "holdfast/sim/hydraulic"

// Unit is one supply unit: its electrics and mechanics in motion. The fluid is in Circuit.
type Unit struct {
	Motor  Motor
	Spool  Spool
	Coil   Coil
	Heater Heater
	Sensor Sensor

	Stroke     float64 // m3 a turn; 0.12 mL
	Efficiency float64 // volumetric at no pressure: the valves' lag
	Yield      float64 // m3/Pa a stroke: how much the membrane gives way
	SensorFeed float64 // V at the sensor while the unit is powered; 5
	Wiring     float64 // ohm between bench terminals and unit

	Voltage float64 // at the unit's connector, V
}

// Commands is what the bench node's power stages do to the unit.
type Commands struct {
	Power  bool
	Drive  float64 // 0..1
	Valve  bool    // directional valve energised
	Heater bool
}

// Reference returns the healthy reference unit.
//
// Motor friction, drag and inertia, the membrane's yield and the valves' lag are our choice:
// they put the unit at about 1500 r/min, 45 % drive and an efficiency of 0.9 at 9 bar. The
// directional valve's narrower way back lets 0.55 of the displacement through: a line of 38 mL
// is then empty in about 20 s.
func Reference() Unit {
	return Unit{
		Motor:  Motor{Resistance: 5.2, Constant: 0.055, Friction: 0.0032, Drag: 1.5e-5, Inertia: 5e-5, cosine: 1},
		Spool:  Spool{Delay: 0.025, Travel: 0.020, Free: 0.55},
		Coil:   Coil{R20: 18, Rise: 1.2, Time: 300},
		Heater: Heater{R20: 4, Capacity: 250, Loss: 0.6, Opens: 90, Closes: 60},
		Sensor: Sensor{FullScale: 14 * hydraulic.Bar, Gain: 1, Noise: 400},
		Stroke: 0.12 * hydraulic.ML, Efficiency: 0.955, Yield: 0.12 * 0.055 / 9 * hydraulic.MLPerBar,
		SensorFeed: 5, Wiring: 0.08,
	}
}

// EfficiencyAt is the volumetric efficiency against a pressure difference (Pa).
func (u *Unit) EfficiencyAt(difference float64) float64 {
	return max(0, u.Efficiency-u.Yield*max(difference, 0)/u.Stroke)
}

// Step moves the unit on by dt at a supply voltage, with the line at gauge Pa and the unit at
// celsius, and fills in what it does to the circuit.
func (u *Unit) Step(dt float64, c *Commands, supply, gauge, celsius float64, in *hydraulic.Inputs) {
	u.Voltage, u.Sensor.Supply = 0, 0
	drive := 0.0
	if c.Power {
		drive = c.Drive
		u.Voltage = supply - u.Wiring*(drive*u.Motor.Current+u.Coil.Current+u.Heater.Current)
		u.Sensor.Supply = u.SensorFeed
	}
	in.Forward, in.Reverse = u.Spool.Step(dt, c.Power && c.Valve)
	difference := gauge
	if in.Reverse > in.Forward {
		difference = -gauge
	}
	in.Swept = u.Motor.Step(dt, drive*u.Voltage, difference, u.Stroke)
	if in.Swept > 0 {
		in.Swept *= u.EfficiencyAt(difference)
	}
	u.Coil.Step(dt, on(c.Valve)*u.Voltage, celsius)
	u.Heater.Step(dt, on(c.Heater)*u.Voltage)
}

func on(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
