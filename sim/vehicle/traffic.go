package vehicle

import (
	"time"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// Source addresses (J1939-81 preferred addresses, from memory): engine 0, transmission 3, brakes 11, cruise
// and body 33, cab 49, exhaust controller 61, NOx sensors 81 and 82, DEF tank sensor 163.
const ms = time.Millisecond

// traffic is every message of every controller.
func (v *Vehicle) traffic() []*stream {
	all := v.ours()
	if !v.options.Alone {
		all = append(all, v.others()...)
	}
	if v.options.Load > 0 {
		all = append(all, v.filler(all)...)
	}
	return all
}

// ours are the messages that the watch follows.
func (v *Vehicle) ours() []*stream {
	return []*stream{
		v.clockwork(),
		v.message(0x0CF0243D, 50*ms, v.requests).unit(),
		v.message(0x18FD3C3D, time.Second, v.supplyInfo).unit(),
		v.message(0x18FD413D, 500*ms, v.dosing2).unit(),
		v.message(0x18FD403D, 500*ms, v.dosingRequests2).unit(),
		v.message(0x18FD3E3D, 500*ms, v.exhaust).unit(),
		v.message(0x18FECA3D, time.Second, v.faultList).unit(),
		v.message(0x18F00E51, 50*ms, func(t clock.Instant) [8]byte { return v.nox(t, v.engine.noxIn) }),
		v.message(0x18F00F52, 50*ms, func(t clock.Instant) [8]byte { return v.nox(t, v.engine.noxOut) }),
		v.message(0x18FE56A3, time.Second, v.tank).stays(),
		v.message(0x18FD9BA3, time.Second, v.quality).stays(),
		v.message(0x0CF00400, 10*ms, v.eec1).stays(),
		v.message(0x18FEF500, time.Second, v.air).stays(),
		v.message(0x18FEF700, time.Second, v.power).stays(),
		v.message(0x18FEE500, time.Second, v.hours).stays(),
		v.message(0x18FEF121, 100*ms, v.road),
	}
}

// clockwork is the unit's dosing information; it moves the engine and the unit along.
func (v *Vehicle) clockwork() *stream {
	return &stream{period: tick, pgn: 61475, afterRun: true, ofUnit: true, say: func(t clock.Instant,
		f *can.Frame) bool {
		v.step(t)
		f.ID, f.Length, f.Data = 0x0CF0233D, 8, v.dosing1(t)
		return true
	}}
}

// step moves the world by one tick.
func (v *Vehicle) step(t clock.Instant) {
	key := v.key(t)
	at := t.Sub(v.keyOn)
	convert := 0.0
	if v.unit.actual > 0 && v.engine.catalyst > dosingFrom {
		convert = 0.94 * (1 - v.fault(NoConversion)) * (1 - v.fault(WeakFluid)/32.5)
		convert *= v.unit.actual / max(1, v.unit.requested)
	}
	before := v.engine.km
	v.engine.step(v.random, at, v.legs[v.leg].Key-at, convert)
	v.truth.Km += v.engine.km - before
	day := t.Sub(v.options.Start).Seconds() / v.length().Seconds()
	v.unit.leak = 0.1 + v.fault(SlowLeak)*day
	v.truth.Leak = v.unit.leak
	v.unit.volts = v.volts(t)
	attempts, emptied := v.unit.attempts, v.unit.emptied
	v.unit.step(v.random, key, v.engine.running, v.engine.demand(), v.engine.catalyst)
	v.truth.Primes += v.unit.attempts - attempts
	v.truth.Grams += v.unit.actual * tick.Hours()
	if v.unit.emptied && !emptied {
		v.truth.Completed = append(v.truth.Completed, t)
		v.sleepAt = t.Add(4 * time.Second)
	}
}

// length is from the first key-on to the last key-off.
func (v *Vehicle) length() (d time.Duration) {
	for i, l := range v.legs {
		d += l.Key
		if i < len(v.legs)-1 {
			d += l.Off
		}
	}
	return d
}

func (v *Vehicle) volts(t clock.Instant) float64 {
	switch {
	case v.episodes.in(v.episodes.sags, t):
		return 14.5
	case v.engine.running:
		return 27.6
	default:
		return 24.8
	}
}

// other is a message of another controller whose bytes move a little.
func (v *Vehicle) other(identifier uint32, period time.Duration) *stream {
	return v.message(identifier, period, func(clock.Instant) [8]byte {
		r := v.random.Uint64()
		return [8]byte{0xF0 | byte(r&3), byte(r >> 8 & 0x7F), byte(r >> 16 & 0x7F), 0x7D, 0xFF,
			byte(r >> 24 & 0x3F), 0xFF, 0xFF}
	})
}

// others are what else a truck says: about 520 frames a second.
func (v *Vehicle) others() []*stream {
	var all []*stream
	for _, m := range []struct {
		id     uint32
		period time.Duration
	}{
		{0x0CF00300, 50 * ms}, {0x18FEDF00, 20 * ms}, {0x18FEF200, 100 * ms}, {0x18FEEE00, time.Second},
		{0x18FEEF00, 500 * ms}, {0x18FEF600, 500 * ms}, {0x18F00000, 100 * ms}, // engine
		{0x0C000003, 10 * ms}, {0x0CF00203, 10 * ms}, {0x18F00503, 100 * ms}, {0x18FEF803, time.Second},
		// transmission
		{0x18F0010B, 100 * ms}, {0x0C00000B, 20 * ms}, {0x08FE6E0B, 20 * ms}, {0x18FEBF0B, 100 * ms},
		{0x18F0090B, 10 * ms}, {0x18FEC10B, time.Second}, // brakes
		{0x0CFE6C31, 50 * ms}, {0x18FEC131, time.Second}, {0x18FEFC31, time.Second}, {0x18FEE631,
			time.Second}, // cab
		{0x18E0FF21, 500 * ms}, {0x18D0FF21, time.Second}, {0x0CFDCC21, time.Second}, {0x18FECA0B,
			time.Second},
		{0x18FECA03, time.Second}, {0x10FF8000, 20 * ms}, {0x18FF9003, 100 * ms}, {0x18FFA031, 200 * ms},
	} {
		s := v.other(m.id, m.period)
		if s.pgn == 65226 { // a fault list with nothing in it
			id := m.id
			s = v.message(id, m.period, func(clock.Instant) [8]byte {
				return [8]byte{0, 0xFF, 0, 0, 0, 0,
					0xFF, 0xFF}
			})
		}
		if byte(m.id) == 0 {
			s.stays()
		}
		all = append(all, s)
	}
	return append(all, v.broadcasts())
}

// frameBits is a data frame of eight bytes with a 29-bit identifier and interframe space, without stuffing
// (ISO 11898-1): 67 + 8 * 8.
const frameBits = 131

// filler is what brings the bus to the load that is asked for.
func (v *Vehicle) filler(have []*stream) []*stream {
	rate := v.options.Load * float64(v.options.BitRate) / frameBits
	for _, s := range have {
		rate -= 1 / s.period.Seconds()
	}
	var all []*stream
	for i := uint32(0); rate > 1; i++ {
		one := min(rate, 100)
		all = append(all, v.other(0x18FF0000|(i+16)<<8|0x80+i%64, time.Duration(1e9/one)).stays())
		rate -= one
	}
	return all
}
