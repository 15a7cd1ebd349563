package sim

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// The figures of the reference unit as the design states them (invented for the demo): 1 500 r/min
// at about 45 % drive and 9 bar, return about 160 mL/min, compliance 0.4 mL/bar, leak
// 0.1 mL/min, prime about 20 s, rise 1..2 s; and the shipped example limits for the rest.
func TestHealthy_Figures(t *testing.T) {
	for seed := range uint64(3) {
		d := newDriver(t, seed, nil)
		m := d.release()
		t.Logf("seed %d: %+v", seed, m)
		require.InDelta(t, 20, m.prime, 4, "prime, s")
		require.InDelta(t, 1.5, m.rise, 0.6, "rise 10..90 %, s")
		require.InDelta(t, 9, m.mean, 0.05, "regulated, bar")
		require.InDelta(t, 45, m.drive, 3, "drive, %")
		require.InDelta(t, 1500, m.speed, 100, "speed, r/min")
		require.InDelta(t, 0.165, m.ripple, 0.05, "ripple, bar: 0.5511 Vs/C and the regulator")
		require.InDelta(t, 158, m.flow, 10, "return flow, mL/min")
		require.InDelta(t, 0.1, m.leak, 0.06, "leak, mL/min")
		require.Less(t, m.below, 2.0, "changeover to below 0.2 bar, s")
		require.InDelta(t, 25, m.empty, 10, "line down to 4 mL, s")
		require.Less(t, m.residual, 6.0, "left in the line, mL")
		require.Greater(t, m.residual, 1.0, "no purge leaves nothing: film on the wall")
		require.Less(t, m.refill, 30.0, "refill, s")
	}
}

// figures of one pass through the release sequence, taken as a harness would, but for leak
// and residual, which come from the true volumes.
type figures struct {
	prime, rise, mean, drive, speed, amps, ripple, flow float64
	leak, drip, dose, below, empty, residual, refill    float64
	unit, feed, compliance, noise                       float64
	coil, heater, heats, sag, stands                    float64
}

// release runs prime, pressurise, hold, leak-down, dose, purge, refill.
func (d *driver) release() (m figures) {
	d.run(time.Second)
	d.out.drive = 60
	m.prime = d.until(40*time.Second, func() bool { return d.gauge() >= 2 }).Seconds()
	d.regulate(2, 10*time.Second)
	m.rise = d.rise(&m)
	d.regulate(9, 20*time.Second)
	d.hold(&m)
	d.leakDown(&m)
	d.dose(&m)
	d.purge(&m)
	d.out = outputs{drive: 60}
	m.refill = d.until(60*time.Second, func() bool { return d.gauge() >= 2 }).Seconds()
	d.electrics(&m)
	return m
}

// rise stops, then steps to 9 bar at 60 % drive and takes 10 to 90 %.
func (d *driver) rise(m *figures) float64 {
	d.out = outputs{}
	d.run(20 * time.Second)
	m.stands = d.gauge()
	var from, to float64
	d.each = func() {
		p := d.Truth().Pressure
		if from == 0 && p > 0.3+0.1*8.7 {
			from = d.now.Seconds(0)
		}
		if to == 0 && p > 0.3+0.9*8.7 {
			to = d.now.Seconds(0)
		}
	}
	d.out = outputs{drive: 60}
	d.until(20*time.Second, func() bool { return to != 0 })
	d.each = nil
	if to == 0 {
		return 99 // did not get there
	}
	return to - from
}

func (d *driver) hold(m *figures) {
	var sum, n, top, low, drive float64
	low = 99
	d.each = func() {
		p := d.gauge()
		sum, n, drive = sum+p, n+1, drive+d.out.drive
		top, low = max(top, p), min(low, p)
		if int(n)%100 == 0 {
			m.ripple, top, low = max(m.ripple, top-low), 0, 99
		}
	}
	d.regulate(9, 5*time.Second)
	d.each = nil
	m.mean, m.drive = sum/n, drive/n
	m.speed, m.amps, m.flow, m.feed = d.see.speed, d.see.amps, d.see.flow, d.see.feed
	m.unit = d.see.unit/100 - d.Truth().Pressure - d.Truth().Ambient
	m.compliance = d.Truth().Compliance
}

// electrics switches coil and heater on for as long as the heater carries current, at most 30 s.
func (d *driver) electrics(m *figures) {
	d.out = outputs{}
	var sum, sum2 float64
	d.run(5 * time.Second)
	d.each = func() { sum, sum2 = sum+d.see.unit/100, sum2+d.see.unit*d.see.unit/1e4 }
	d.run(2 * time.Second)
	d.each = nil
	m.noise = math.Sqrt(max(0, sum2/200-sum*sum/4e4))
	d.out = outputs{valve: 1, heater: 1}
	d.run(time.Second)
	m.coil, m.heater = d.see.unitVolt/max(d.see.valve, 1e-3), d.see.unitVolt/max(d.see.heater, 1e-3)
	m.sag = d.see.supply - d.see.unitVolt
	m.heats = 1 + d.until(30*time.Second, func() bool { return d.see.heater < 0.1 }).Seconds()
	d.out = outputs{}
}

func (d *driver) leakDown(m *figures) {
	d.out = outputs{shutoff: 1}
	d.run(2 * time.Second)
	from, scale := d.Truth(), d.see.scale
	d.run(20 * time.Second)
	to := d.Truth()
	m.leak = (from.LineLiquid - to.LineLiquid) * 3
	m.drip = (d.see.scale - scale) * 3
	d.out = outputs{}
}

func (d *driver) dose(m *figures) {
	d.regulate(9, 10*time.Second)
	d.out.duty = 50
	d.regulate(9, 2*time.Second)
	before := d.see.scale
	d.regulate(9, 20*time.Second)
	m.dose = (d.see.scale - before) * 3 // g/min
	d.out.duty = 0
}

func (d *driver) purge(m *figures) {
	d.regulate(9, 2*time.Second)
	began := d.now
	d.out = outputs{valve: 1, drive: 60, duty: 50}
	var below, wet float64
	d.each = func() {
		tr := d.Truth()
		if tr.Pressure > 0.2 {
			below = d.now.Seconds(began)
		}
		if tr.LineLiquid > 4 {
			wet = d.now.Seconds(began)
		}
	}
	d.run(45 * time.Second)
	d.each = nil
	m.below, m.empty = below, wet
	m.residual = d.Truth().LineLiquid
}
