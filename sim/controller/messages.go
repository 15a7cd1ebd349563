package controller

import (
	"time"

	einride "go.einride.tech/can"

	"holdfast/sim/signal"
)

// Periods of the messages (SAE J1939-71 by public sources), in ticks.
const (
	everyDosing = int64(50 * time.Millisecond / Tick)
	everyInfo   = int64(500 * time.Millisecond / Tick)
	everySecond = int64(time.Second / Tick)
	everyPacket = int64(50 * time.Millisecond / Tick) // of a long message: 50..200 ms
)

// Send appends what is due at this tick. Nothing without power.
func (c *Controller) Send(out []einride.Frame) []einride.Frame {
	if !c.senses.Powered {
		return out
	}
	n := c.ticks - 1
	if n == 0 {
		out = append(out, c.claim())
	}
	out = append(out, c.answers...)
	c.answers = c.answers[:0]
	if n%everyDosing == 0 {
		out = append(out, c.dosing())
	}
	if n%everyInfo == 20 { // each at a time of its own, so that they do not come in a burst
		out = append(out, c.info())
	}
	if n%everySecond == 31 {
		out = append(out, c.supply())
	}
	if n%everySecond == 53 {
		out = append(out, c.tank())
	}
	if n%everySecond == 71 {
		out = c.active(out)
	}
	if len(c.transfers) > 0 && n%everyPacket == 1 {
		out = append(out, c.transfers[0])
		c.transfers = c.transfers[1:]
	}
	return out
}

// dosing is PGN 61475.
func (c *Controller) dosing() einride.Frame {
	f := signal.Frame(idDosing)
	fActualQuantity.Put(&f.Data, c.dosed*60)
	fState.PutRaw(&f.Data, uint64(c.state))
	fIntegrator.Put(&f.Data, c.dosedSum)
	if c.senses.PressureOK {
		fPressure.Put(&f.Data, c.senses.Pressure)
	} else {
		fPressure.PutError(&f.Data)
	}
	fActualHigh.Put(&f.Data, c.dosed)
	return f
}

// info is PGN 64833.
func (c *Controller) info() einride.Frame {
	f := signal.Frame(idInfo)
	fDoserTemperature.Put(&f.Data, c.senses.Fluid)
	fLineHeater.PutRaw(&f.Data, 0)
	if c.out.Heater {
		fLineHeater.PutRaw(&f.Data, 1)
	}
	fLineHeaterFMI.PutMissing(&f.Data)
	return f
}

// supply is PGN 64828.
func (c *Controller) supply() einride.Frame {
	f := signal.Frame(idSupply)
	fMotorSpeed.Put(&f.Data, c.senses.Speed)
	fDrive.Put(&f.Data, 100*c.out.Drive)
	fDiverter.Put(&f.Data, 0)
	if c.out.Valve {
		fDiverter.Put(&f.Data, 100)
	}
	fPumpState.PutRaw(&f.Data, 0)
	if c.faults.active[noPressure] {
		fPumpState.PutRaw(&f.Data, 1)
	}
	return f
}

// tank is PGN 65110.
func (c *Controller) tank() einride.Frame {
	const height = 160.0 // mm, of a bench reservoir
	f := signal.Frame(idTank)
	fTankVolume.Put(&f.Data, 100*c.senses.TankShare)
	fTankTemperature.Put(&f.Data, c.senses.Tank)
	fTankLevel.Put(&f.Data, height*c.senses.TankShare)
	fLowLevel.PutRaw(&f.Data, 0)
	fInducement.PutRaw(&f.Data, 0)
	return f
}

// active is DM1: one frame for up to one code, a broadcast for more.
func (c *Controller) active(out []einride.Frame) []einride.Frame {
	data := c.faults.bytes(make([]byte, 0, 2+4*numCodes))
	if len(data) > 8 {
		if len(c.transfers) == 0 {
			c.transfers = long(c.transfers[:0], pgnActive, data)
		}
		return out
	}
	f := signal.Frame(idActive)
	copy(f.Data[:], data)
	return append(out, f)
}

// claim is its address claim: function 69 (engine emission aftertreatment system), manufacturer 0, not
// arbitrary address capable.
func (c *Controller) claim() einride.Frame {
	name := uint64(c.Serial)&0x1FFFFF | 69<<40
	f := einride.Frame{ID: idClaim, Length: 8, IsExtended: true}
	for i := range f.Data {
		f.Data[i] = byte(name >> (8 * i))
	}
	return f
}
