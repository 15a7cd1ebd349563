package vehicle

import (
	"time"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// airPressure in kPa.
const airPressure = 101.5

// dosing1 is PGN 61475: 1-2 actual dosing (0.3 g/h), 3.1 state, 4-5 integrator (0.1 g), 6 absolute pressure
// (8 kPa).
func (v *Vehicle) dosing1(t clock.Instant) [8]byte {
	u := &v.unit
	b := blank
	put16(&b, 0, u.actual/0.3)
	b[2] = 0xF0 | byte(u.state)
	put16(&b, 3, u.grams/0.1)
	b[5] = v.pressureByte(t)
	return b
}

func (v *Vehicle) pressureByte(t clock.Instant) byte {
	if v.episodes.in(v.episodes.dropouts, t) {
		return 0xFE
	}
	gauge := v.unit.sensed() + 0.015*v.random.NormFloat64()
	if v.fault(SensorStuck) > 0 && t.Sub(v.options.Start) > time.Hour {
		if !v.stuckSet {
			v.stuck, v.stuckSet = gauge, true
		}
		gauge = v.stuck
	}
	return byte(min(max((airPressure+100*gauge)/8+0.5, 0), 250))
}

// requests is PGN 61476: 1-2 requested dosing (0.3 g/h), 3.1 requested state.
func (v *Vehicle) requests(clock.Instant) [8]byte {
	b := blank
	put16(&b, 0, v.unit.requested/0.3)
	b[2] = 0xF0 | byte(v.unit.state)
	return b
}

// supplyInfo is PGN 64828: 1-2 pump speed (0.5 rpm), 3 drive (0.4 %), 4 diverter valve (0.4 %).
func (v *Vehicle) supplyInfo(clock.Instant) [8]byte {
	b := blank
	put16(&b, 0, v.unit.speed/0.5)
	put8(&b, 2, v.unit.drive/0.4)
	b[3] = 0
	if v.unit.valve {
		b[3] = 250
	}
	return b
}

// dosing2 is PGN 64833: 3 doser temperature (1 °C, -40), 5.1 line heater 1 state, 5.3 its FMI.
func (v *Vehicle) dosing2(clock.Instant) [8]byte {
	b := blank
	put8(&b, 2, 60+0.1*v.engine.catalyst+40)
	state := byte(0)
	switch {
	case v.fault(HeaterError) > 0:
		state = 2
	case v.tankTemperature() < 0:
		state = 1
	}
	b[4] = 31<<2 | state | 1<<7
	return b
}

// dosingRequests2 is PGN 64832: 2.1 line heater 1 request.
func (v *Vehicle) dosingRequests2(clock.Instant) [8]byte {
	b := blank
	b[1] = 0xFC
	if v.tankTemperature() < 0 {
		b[1] = 0xFD
	}
	return b
}

// exhaust is PGN 64830: 1-2 SCR intake, 4-5 SCR outlet temperature (1/32 °C, -273).
func (v *Vehicle) exhaust(clock.Instant) [8]byte {
	b := blank
	put16(&b, 0, (v.engine.catalyst+273)*32)
	put16(&b, 3, (v.engine.outlet+273)*32)
	return b
}

// nox is PGN 61454 or 61455: 1-2 NOx (0.05 ppm, -200), 6.6 heater control (0 automatic, 3 off), not
// available before the sensor is hot.
func (v *Vehicle) nox(t clock.Instant, ppm float64) [8]byte {
	b := blank
	b[5] = 0x1F
	if !v.engine.running || t.Sub(v.keyOn) < 90*time.Second {
		b[5] |= 3 << 5
		return b
	}
	put16(&b, 0, (ppm+200)/0.05)
	return b
}

func (v *Vehicle) tankTemperature() float64 {
	if v.fault(Frozen) > 0 {
		return -15
	}
	return 18 + min(8, v.engine.km/60)
}

// tank is PGN 65110: 1 level (0.4 %), 2 temperature (1 °C, -40), 7 heater (0.4 %).
func (v *Vehicle) tank(clock.Instant) [8]byte {
	b := blank
	level := 85 - v.truth.Grams/1000
	if v.fault(TankEmpty) > 0 {
		level = 4
	}
	put8(&b, 0, level/0.4)
	put8(&b, 1, v.tankTemperature()+40)
	b[6] = 0
	if v.tankTemperature() < 0 {
		b[6] = 250
	}
	return b
}

// quality is PGN 64923: 1 temperature, 2 concentration (0.25 %), 6.1 property.
func (v *Vehicle) quality(clock.Instant) [8]byte {
	b := blank
	put8(&b, 0, v.tankTemperature()+40)
	put8(&b, 1, (32.5-v.fault(WeakFluid))/0.25)
	b[5] = 0xF3
	if v.fault(WeakFluid) > 3 {
		b[5] = 0xF1
	}
	if v.fault(DieselInTank) > 0 {
		b[1], b[5] = 0xFF, 0xF2
	}
	return b
}

// eec1 is PGN 61444: 4-5 engine speed (0.125 rpm).
func (v *Vehicle) eec1(clock.Instant) [8]byte {
	b := [8]byte{0xF1, 0x7D + byte(100*v.engine.load), 0x7D + byte(100*v.engine.load), 0, 0, 0, 0xF3, 0xFF}
	rpm := v.engine.rpm
	if rpm > 0 {
		rpm += 2 * v.random.Float64()
	}
	put16(&b, 3, rpm/0.125)
	return b
}

// air is PGN 65269: 1 barometer (0.5 kPa), 4-5 ambient (1/32 °C, -273).
func (v *Vehicle) air(t clock.Instant) [8]byte {
	b := blank
	put8(&b, 0, airPressure/0.5)
	base := 15.0
	if v.fault(Frozen) > 0 {
		base = -14
	}
	put16(&b, 3, (coldAir(base, t.Sub(v.options.Start).Hours())+273)*32)
	return b
}

// power is PGN 65271: 5-6 supply, 7-8 key switch (0.05 V).
func (v *Vehicle) power(t clock.Instant) [8]byte {
	b := blank
	put16(&b, 4, (v.volts(t)+0.1*v.random.Float64())/0.05)
	b[6], b[7] = 0, 0
	if v.key(t) {
		put16(&b, 6, v.volts(t)/0.05)
	}
	return b
}

// hours is PGN 65253: 1-4 engine hours (0.05 h).
func (v *Vehicle) hours(clock.Instant) [8]byte {
	b := blank
	n := uint32(v.engine.hours / 0.05)
	b[0], b[1], b[2], b[3] = byte(n), byte(n>>8), byte(n>>16), byte(n>>24)
	return b
}

// road is PGN 65265: 2-3 wheel speed (1/256 km/h).
func (v *Vehicle) road(clock.Instant) [8]byte {
	b := blank
	put16(&b, 1, v.engine.kmh*256)
	return b
}

// faultList is DM1 of the exhaust controller, PGN 65226: lamps, flash, one code.
func (v *Vehicle) faultList(clock.Instant) [8]byte {
	if v.fault(FaultCode) == 0 {
		return [8]byte{0, 0xFF, 0, 0, 0, 0, 0xFF, 0xFF}
	}
	return [8]byte{0x04, 0xFF, 0xEE, 0x10, 0x12, 0x03, 0xFF, 0xFF} // SPN 4334 FMI 18, three times, amber
}

// script is a BAM under way.
type script struct {
	id   uint32
	data [8]byte
}

// broadcasts is the vehicle identification by BAM every 5 s: one announcement and three packets, 50 ms
// apart.
func (v *Vehicle) broadcasts() *stream {
	const vin = "HFDEM000000000042*"
	s := &stream{period: 50 * ms, pgn: 65260, afterRun: true}
	turn := 0
	s.say = func(_ clock.Instant, f *can.Frame) bool {
		turn++
		if turn%100 == 1 {
			v.pending = append(v.pending[:0], script{0x1CECFF00, [8]byte{32, byte(len(vin)), 0, 3, 0xFF,
				0xEC, 0xFE, 0}})
			for n := range 3 {
				p := blank
				p[0] = byte(n + 1)
				copy(p[1:], vin[n*7:min(n*7+7, len(vin))])
				v.pending = append(v.pending, script{0x1CEBFF00, p})
			}
		}
		if len(v.pending) == 0 {
			return false
		}
		f.ID, f.Length, f.Data = v.pending[0].id, 8, v.pending[0].data
		v.pending = v.pending[1:]
		return true
	}
	return s
}
