package rig

import (
	"math/rand/v2"
	"time"

	einride "go.einride.tech/can"
)

// Periods of the messages (bench-node.dbc).
const (
	Tick           = 10 * time.Millisecond // of the node, and BenchHydraulics
	everyElectrics = 20 * time.Millisecond
	everyScale     = 100 * time.Millisecond
	everyAmbient   = time.Second
)

// Readings is the true state at the instruments, in the units of the signals.
type Readings struct {
	UnitPressure float64 // kPa absolute, as read off the unit's own sensor
	UnitSensor   SensorState
	Pressure     float64 // kPa absolute, true
	ReturnFlow   float64 // mL/min
	PumpSpeed    float64 // r/min
	Supply       float64 // V
	UnitVoltage  float64 // V
	PumpCurrent  float64 // A
	ValveCurrent float64 // A
	Beaker       float64 // g
	SensorFeed   float64 // V
	HeaterAmps   float64 // A
	Fluid        float64 // degC
	Ambient      float64 // degC
	Barometer    float64 // kPa
	Reservoir    float64 // g
	ShutoffShut  bool
	Emergency    bool
	GuardOpen    bool
}

// SensorState says what the node can make of the unit's pressure sensor.
type SensorState uint8

const (
	SensorRead   SensorState = iota // a voltage that a sensor can give
	SensorBroken                    // an open or shorted wire: sent as the error indicator
	SensorUnfed                     // the unit is switched off: sent as not available
)

// Node is the bench's I/O node.
type Node struct {
	Receiver
	instruments
	tare  float64 // g
	tared bool    // the tare command was on
}

// NewNode returns a node whose instruments' errors are drawn from rng.
func NewNode(rng *rand.Rand) *Node { return &Node{instruments: newInstruments(rng)} }

// ReferenceError is the bench gauge's true error in kPa at a true pressure in kPa.
func (n *Node) ReferenceError(kPa float64) float64 { return n.reference.bias(kPa) }

// Send appends the messages due at a tick, t after the node's start.
func (n *Node) Send(t time.Duration, r *Readings, out []einride.Frame) []einride.Frame {
	out = append(out, n.hydraulics(r))
	if t%everyElectrics == 0 {
		out = append(out, n.electrics(r))
	}
	if t%everyScale == 0 {
		out = append(out, n.weigh(r))
	}
	if t%everyAmbient == 0 {
		out = append(out, n.ambient(r))
	}
	return out
}

func (n *Node) hydraulics(r *Readings) einride.Frame {
	f := frame(idHydraulics)
	switch r.UnitSensor {
	case SensorRead:
		fUnitPressure.put(&f.Data, r.UnitPressure)
	case SensorBroken:
		fUnitPressure.putError(&f.Data)
	case SensorUnfed:
		fUnitPressure.putMissing(&f.Data)
	}
	fReferencePressure.put(&f.Data, n.read(&n.reference, r.Pressure))
	fReturnFlow.put(&f.Data, n.read(&n.flow, r.ReturnFlow))
	fPumpSpeed.put(&f.Data, n.read(&n.speed, r.PumpSpeed))
	return f
}

func (n *Node) electrics(r *Readings) einride.Frame {
	f := frame(idElectrics)
	fSupplyVoltage.put(&f.Data, n.read(&n.supply, r.Supply))
	fUnitVoltage.put(&f.Data, n.read(&n.unitVoltage, r.UnitVoltage))
	fPumpCurrent.put(&f.Data, n.read(&n.pumpCurrent, r.PumpCurrent))
	fValveCurrent.put(&f.Data, n.read(&n.coilCurrent, r.ValveCurrent))
	return f
}

// weigh sends the scale. A tare takes effect at the first message after the command came.
func (n *Node) weigh(r *Readings) einride.Frame {
	mass := n.read(&n.scale, r.Beaker)
	if tare := n.now.Tare; tare != n.tared {
		n.tared = tare
		if tare {
			n.tare = mass
		}
	}
	f := frame(idScale)
	fScaleMass.put(&f.Data, mass-n.tare)
	fSensorSupply.put(&f.Data, n.read(&n.sensorFeed, r.SensorFeed))
	fHeaterCurrent.put(&f.Data, n.read(&n.heaterCurrent, r.HeaterAmps))
	fEmergencyStop.put(&f.Data, bit(r.Emergency))
	fGuardClosed.put(&f.Data, bit(!r.GuardOpen))
	fShutoffState.put(&f.Data, bit(r.ShutoffShut))
	fEnabled.put(&f.Data, bit(n.Enabled()))
	return f
}

func (n *Node) ambient(r *Readings) einride.Frame {
	f := frame(idAmbient)
	fFluidTemperature.put(&f.Data, n.read(&n.fluidTemp, r.Fluid))
	fAmbientTemperature.put(&f.Data, n.read(&n.ambientTemp, r.Ambient))
	fAmbientPressure.put(&f.Data, n.read(&n.barometer, r.Barometer))
	fReservoirMass.put(&f.Data, n.read(&n.reservoir, r.Reservoir))
	return f
}

func bit(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
