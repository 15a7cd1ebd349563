package unit

import "holdfast/sim/hydraulic"

// Unit is one supply unit: its electrics and mechanics in motion. The fluid is in Circuit.
type Unit struct {
	Pump
	Motor  Motor
	Spool  Spool
	Coil   Coil
	Heater Heater
	Sensor Sensor

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
		Spool:  Spool{Delay: 0.025, Travel: 0.020, Free: 0.55, PullIn: 0.4},
		Coil:   Coil{R20: 18, Rise: 1.2, Time: 300},
		Heater: Heater{R20: 4, Capacity: 250, Loss: 0.6, Opens: 90, Closes: 60},
		Sensor: Sensor{FullScale: 14 * hydraulic.Bar, Gain: 1, Noise: 400},
		Pump: Pump{Stroke: 0.12 * hydraulic.ML, Efficiency: 0.955,
			Yield: 0.12 * 0.055 / 9 * hydraulic.MLPerBar},
		SensorFeed: 5, Wiring: 0.08,
	}
}

// Step moves the unit on by dt at a supply voltage and fills in what it does to the circuit.
func (u *Unit) Step(dt float64, c *Commands, supply float64, port *Port, in *hydraulic.Inputs) {
	u.Voltage, u.Sensor.Supply = 0, 0
	drive := 0.0
	if c.Power {
		drive = c.Drive
		u.Voltage = max(0, supply-u.Wiring*(drive*u.Motor.Current+u.Coil.Current+u.Heater.Current))
		u.Sensor.Supply = u.SensorFeed
	}
	u.Coil.Step(dt, on(c.Valve)*u.Voltage, port.Celsius)
	u.Heater.Step(dt, on(c.Heater)*u.Voltage)
	in.Forward, in.Reverse = u.Spool.Step(dt, u.Coil.Current)
	difference := u.against(port.Gauge, in.Forward >= in.Reverse)
	out, drawn := u.Motor.Step(dt, drive*u.Voltage, difference, u.Filter, u.Stroke)
	in.Swept = u.move(dt, out, drawn, difference, port)
}

func on(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
