package control

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// The integral goes on from one regulated step to the next, and starts anew after any other.
func TestRegulator_GoesOn(t *testing.T) {
	c := New(aRig(rig.Bare), 9)
	c.Begin(aStep(scenario.Hold))
	first := c.Outputs(at(0, 8))[rig.SetPumpDrive]
	require.InDelta(t, 20+6, first, 1e-9)
	c.Outputs(at(20*time.Millisecond, 8))
	c.Begin(aStep(scenario.Dose))
	require.InDelta(t, 20+6+2*6*0.02/2, c.Outputs(at(40*time.Millisecond, 8))[rig.SetPumpDrive], 1e-9)
	c.Begin(aStep(scenario.LeakDown))
	c.Begin(aStep(scenario.Hold))
	require.InDelta(t, first, c.Outputs(at(60*time.Millisecond, 8))[rig.SetPumpDrive], 1e-9)
}

// max_slew bounds how fast the regulator changes the drive, both ways and from whatever the step before asked for;
// it holds no stop up, and the integral does not wind up meanwhile.
func TestRegulator_MaxSlew(t *testing.T) {
	r := aRig(rig.Bare)
	r.Regulator.MaxSlew = 50 // %/s: 1 % a cycle
	c := New(r, 9)
	c.Begin(aStep(scenario.Hold))
	drive, ms := 0.0, time.Duration(0)
	next := func(bar float64) float64 {
		ms += 20 * time.Millisecond
		return c.Outputs(at(ms, bar))[rig.SetPumpDrive]
	}
	for range 15 {
		now := next(0)
		require.InDelta(t, drive+1, now, 1e-9)
		drive = now
	}
	require.InDelta(t, 20, c.reg.integral, 1e-9, "held")
	for range 5 {
		now := next(9.5)
		require.LessOrEqual(t, now, drive+1+1e-9)
		require.GreaterOrEqual(t, now, drive-1-1e-9)
		drive = now
	}
	c.Begin(aStep(scenario.Relieve))
	require.Zero(t, next(9), "a stop is at once")
	c.Begin(aStep(scenario.Repressurise))
	require.Equal(t, 60.0, next(0), "a step's own drive is at once")
	require.InDelta(t, 59, next(9), 1e-9, "and what the regulator begins with")
}

// Without max_slew nothing is bounded.
func TestRegulator_NoSlew(t *testing.T) {
	c := New(aRig(rig.Bare), 9)
	c.Begin(aStep(scenario.Hold))
	require.InDelta(t, 20+6*9, c.Outputs(at(0, 0))[rig.SetPumpDrive], 1e-9)
}

// The integral gathers gain times error over the reset time, and stands still at an end stop.
func TestRegulator_Integral(t *testing.T) {
	c := New(aRig(rig.Bare), 9)
	c.Begin(aStep(scenario.Hold))
	c.Outputs(at(0, 8.5))
	require.InDelta(t, 20+6*0.5*0.02/2, c.reg.integral, 1e-12)
	c.Outputs(at(20*time.Millisecond, 9.25))
	require.InDelta(t, 20+6*0.5*0.02/2-6*0.25*0.02/2, c.reg.integral, 1e-12)
	held := c.reg.integral
	require.Zero(t, c.Outputs(at(40*time.Millisecond, 15))[rig.SetPumpDrive])
	require.Equal(t, 100.0, c.Outputs(at(60*time.Millisecond, -9))[rig.SetPumpDrive])
	require.Equal(t, held, c.reg.integral)
}

// Feed-forward goes with the root of the pressure, and so does the dosing quantity that a duty stands for.
func TestRootOfPressure(t *testing.T) {
	c := New(aRig(rig.Bare), 4)
	c.Begin(scenario.Step{Kind: scenario.Hold, Pressure: 9})
	require.InDelta(t, 20*1.5, c.Outputs(at(0, 9))[rig.SetPumpDrive], 1e-12)
	require.InDelta(t, 100*(2.0/3)*0.2, c.request(30), 1e-12)
	require.Zero(t, c.request(5), "less than the valve needs to open")
	require.InDelta(t, 100*(2.0/3)*0.9, c.request(100), 1e-12)
	unknown := aRig(rig.Controller)
	unknown.Dosing.AtPressure = 0
	require.Zero(t, New(unknown, 9).request(30), "a valve of which nothing is stated")
}
