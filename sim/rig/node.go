package rig

import (
	"math/rand/v2"
	"time"

	einride "go.einride.tech/can"

	"holdfast/sim/signal"
)

// Periods of the messages (bench-node.dbc).
const (
	Tick           = 10 * time.Millisecond // of the node, and BenchHydraulics
	everyElectrics = 20 * time.Millisecond
	everyScale     = 100 * time.Millisecond
	everyAmbient   = time.Second
	everyAlive     = 100 * time.Millisecond
	aliveAt        = 50 * time.Millisecond // after the others, so that they keep their times
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
	OwnUnit      bool // the unit has its own controller: the node is not wired to sensor, pump and coils
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
	if t%everyAlive == aliveAt {
		out = append(out, n.alive(t))
	}
	return out
}

// alive counts how often each message's instruments have been read: this node reads them for every message.
func (n *Node) alive(t time.Duration) einride.Frame {
	f := signal.Frame(idAlive)
	for every, count := range map[time.Duration]field{Tick: fHydraulicsCount, everyElectrics: fElectricsCount,
		everyScale: fScaleCount, everyAmbient: fAmbientCount} {
		count.Put(&f.Data, float64(int64(t/every+1)%251))
	}
	if n.known {
		fCommandEcho.Put(&f.Data, float64(n.counter))
	} else {
		fCommandEcho.PutMissing(&f.Data)
	}
	return f
}

func (n *Node) hydraulics(r *Readings) einride.Frame {
	f := signal.Frame(idHydraulics)
	switch r.UnitSensor {
	case SensorRead:
		fUnitPressure.Put(&f.Data, r.UnitPressure)
	case SensorBroken:
		fUnitPressure.PutError(&f.Data)
	case SensorUnfed:
		fUnitPressure.PutMissing(&f.Data)
	}
	fReferencePressure.Put(&f.Data, n.read(&n.reference, r.Pressure))
	fReturnFlow.Put(&f.Data, n.read(&n.flow, r.ReturnFlow))
	fPumpSpeed.Put(&f.Data, n.read(&n.speed, r.PumpSpeed))
	if r.OwnUnit {
		missing(&f.Data, fUnitPressure, fPumpSpeed)
	}
	return f
}

func (n *Node) electrics(r *Readings) einride.Frame {
	f := signal.Frame(idElectrics)
	fSupplyVoltage.Put(&f.Data, n.read(&n.supply, r.Supply))
	fUnitVoltage.Put(&f.Data, n.read(&n.unitVoltage, r.UnitVoltage))
	fPumpCurrent.Put(&f.Data, n.read(&n.pumpCurrent, r.PumpCurrent))
	fValveCurrent.Put(&f.Data, n.read(&n.coilCurrent, r.ValveCurrent))
	if r.OwnUnit {
		missing(&f.Data, fUnitVoltage, fPumpCurrent, fValveCurrent)
	}
	return f
}

func missing(d *einride.Data, fields ...field) {
	for _, f := range fields {
		f.PutMissing(d)
	}
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
	f := signal.Frame(idScale)
	fScaleMass.Put(&f.Data, mass-n.tare)
	fSensorSupply.Put(&f.Data, n.read(&n.sensorFeed, r.SensorFeed))
	fHeaterCurrent.Put(&f.Data, n.read(&n.heaterCurrent, r.HeaterAmps))
	fEmergencyStop.Put(&f.Data, bit(r.Emergency))
	fGuardClosed.Put(&f.Data, bit(!r.GuardOpen))
	fShutoffState.Put(&f.Data, bit(r.ShutoffShut))
	fEnabled.Put(&f.Data, bit(n.Enabled()))
	if r.OwnUnit {
		missing(&f.Data, fSensorSupply, fHeaterCurrent)
	}
	return f
}

func (n *Node) ambient(r *Readings) einride.Frame {
	f := signal.Frame(idAmbient)
	fFluidTemperature.Put(&f.Data, n.read(&n.fluidTemp, r.Fluid))
	fAmbientTemperature.Put(&f.Data, n.read(&n.ambientTemp, r.Ambient))
	fAmbientPressure.Put(&f.Data, n.read(&n.barometer, r.Barometer))
	fReservoirMass.Put(&f.Data, n.read(&n.reservoir, r.Reservoir))
	return f
}

func bit(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
