package sim

import (
	"encoding/binary"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// outputs is what the test commands, in the units of the signals.
type outputs struct {
	drive, duty                             float64 // %
	valve, shutoff, heater, off, vent, tare byte
}

// shown is what the bench last sent, in the units of the signals.
type shown struct {
	unit, reference, flow, speed  float64 // kPa absolute, kPa absolute, mL/min, r/min
	supply, unitVolt, amps, valve float64
	scale, feed, heater           float64
	fluid, room, barometer, tank  float64
	unitRaw                       uint16
	states                        byte
}

// driver is a harness in miniature: 20 ms command cycle, PI loop on the reference gauge.
type driver struct {
	*Bench
	t        *testing.T
	now      clock.Instant
	out      outputs
	counter  byte
	see      shown
	frames   []einride.Frame
	integral float64
	each     func() // called every 10 ms when set
}

func newDriver(t *testing.T, seed uint64, faults map[string]float64) *driver {
	t.Helper()
	b, err := New(Options{Seed: seed, Faults: faults})
	require.NoError(t, err)
	return &driver{Bench: b, t: t, integral: 42}
}

func (o outputs) frame(counter byte) einride.Frame {
	f := einride.Frame{ID: 0x0CFF10F9, Length: 8, IsExtended: true}
	binary.LittleEndian.PutUint16(f.Data[0:], uint16(o.drive*100+0.5))
	binary.LittleEndian.PutUint16(f.Data[2:], uint16(o.duty*100+0.5))
	f.Data[4] = o.valve | o.shutoff<<2 | o.heater<<4 | (1-o.off)<<6
	f.Data[5] = o.vent | o.tare<<2 | 0xF0
	f.Data[6] = 0xFF
	f.Data[7] = 0xF0 | counter&15
	return f
}

// cycle sends the outputs once and runs 20 ms.
func (d *driver) cycle() {
	in := []can.Frame{{Frame: d.out.frame(d.counter), Time: d.now}}
	d.counter++
	for range 2 {
		d.now = d.now.Add(10 * time.Millisecond)
		d.frames = d.Step(d.now, in, d.frames[:0])
		in = nil
		for _, f := range d.frames {
			d.see.take(f)
		}
		if d.each != nil {
			d.each()
		}
	}
}

func (s *shown) take(f einride.Frame) {
	u := func(i int) float64 { return float64(binary.LittleEndian.Uint16(f.Data[i:])) }
	switch f.ID {
	case 0x0CFF11C8:
		s.unitRaw = binary.LittleEndian.Uint16(f.Data[0:])
		s.unit, s.reference, s.flow, s.speed = u(0)*0.05, u(2)*0.05, u(4)*0.01, u(6)*0.125
	case 0x0CFF12C8:
		s.supply, s.unitVolt, s.amps, s.valve = u(0)/1e3, u(2)/1e3, u(4)/1e3, u(6)/1e3
	case 0x0CFF13C8:
		s.scale = float64(uint32(f.Data[0])|uint32(f.Data[1])<<8|uint32(f.Data[2])<<16)*0.01 - 1000
		s.feed, s.heater, s.states = u(3)/1e3, u(5)/1e3, f.Data[7]
	case 0x18FF14C8:
		s.fluid, s.room, s.barometer, s.tank = u(0)*0.03125-273, u(2)*0.03125-273, u(4)*0.01, u(6)*0.1
	}
}

// gauge is the reference gauge in bar over the barometer.
func (d *driver) gauge() float64 { return (d.see.reference - d.see.barometer) / 100 }

func (d *driver) run(t time.Duration) {
	for end := d.now.Add(t); d.now < end; {
		d.cycle()
	}
}

// regulate closes a PI loop on the reference gauge for t.
func (d *driver) regulate(bar float64, t time.Duration) {
	const gain, reset = 4.0, 1.0 // % per bar, s
	for end := d.now.Add(t); d.now < end; {
		e := bar - d.gauge()
		want := d.integral + gain*e
		d.out.drive = min(max(want, 0), 100)
		if want == d.out.drive {
			d.integral += gain * e * 0.02 / reset
		}
		d.cycle()
	}
}

// until runs until done or until t has passed and returns the time taken.
func (d *driver) until(t time.Duration, done func() bool) time.Duration {
	began := d.now
	for !done() && d.now.Sub(began) < t {
		d.cycle()
	}
	return d.now.Sub(began)
}
