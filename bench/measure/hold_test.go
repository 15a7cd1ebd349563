package measure

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// holding is 30 s of regulated pressure with a pulsation, and constant everything else.
func holding(s *synth, bar, ripple, shaft float64) {
	from, to := s.step(scenario.Step{Kind: scenario.Hold, Pressure: 9, Settle: 5 * time.Second}, 30)
	pulse := func(t float64) float64 { return bar + ripple*math.Sin(2*math.Pi*shaft*t) }
	s.sample(rig.ReferencePressure, from, to, pulse)
	s.sample(rig.LinePressure, from, to, func(t float64) float64 { return 1.015 * pulse(t) })
	s.sample(rig.PumpSpeed, from, to, constant(60*shaft))
	s.sample(rig.ReturnFlow, from, to, constant(150))
	s.sample(rig.PumpCurrent, from, to, constant(0.42))
	s.sample(rig.ScaleMass, from, to, func(t float64) float64 { return 5 + 0.3*t/60 })
	s.sample(rig.ReservoirMass, from, to, func(t float64) float64 { return 2000 - 0.3*t/60 })
	s.sample(rig.FluidTemperature, from, to, constant(20))
	s.command(rig.SetPumpDrive, from-0.02, 40)
	for i := range 1500 {
		s.command(rig.SetPumpDrive, from+0.02*float64(i), 45+float64(1-2*(i%2)))
	}
}

func TestHold_Means(t *testing.T) {
	s := newSynth(2)
	holding(s, 9.02, 0.08, 24.3)
	r := s.run()
	p := r.regulatedPressure()
	require.InDelta(t, 9.02, p.Value, 1e-3)
	require.InDelta(t, 0.016, p.U, 0.002, "the gauge's 0.1 % of 16 bar is what there is")
	require.InDelta(t, 1.5, r.sensorSpanError().Value, 0.01)
	require.InDelta(t, 45, r.holdDrive().Value, 0.1)
	require.InDelta(t, 1458, r.holdSpeed().Value, 0.2)
	require.InDelta(t, 0.42, r.holdCurrent().Value, 1e-3)
	require.InDelta(t, 0.3, r.doserLeak().Value, r.doserLeak().U)
	// 150 mL/min at 8.72 bar and 1090 kg/m3 through CdA = Q / sqrt(2 dp / rho).
	want := 150e-6 / 60 / math.Sqrt(2*8.72e5/1090) * 1e6
	area := r.restrictionArea()
	require.InEpsilon(t, want, area.Value, 1e-3)
	// 0.5 % + 0.2 mL/min of flow; half of 0.06 bar of check valve and 0.016 bar of gauge in 8.72 bar; half of
	// +-2 and +-1 kg/m3 rectangular and of 0.45 per K at 0.5 K.
	rel := math.Sqrt(sq(0.95/150) + sq(0.06/8.72/2) + sq(0.016/8.72/2) + sq(2*math.Hypot(math.Hypot(2, 1)/math.Sqrt(3), 0.45/4)/1090/2))
	require.InEpsilon(t, rel, area.U/area.Value, 0.01)
	eff := r.volumetricEfficiency()
	require.InDelta(t, 100*(150+0.3/1.09)/(0.12*1458), eff.Value, eff.U)
}

// Ripple of a sine of 0.08 bar is 0.16 bar peak to peak, rms 0.08/sqrt(2); its frequency is the shaft's.
func TestRipple_Sine(t *testing.T) {
	s := newSynth(2)
	holding(s, 9, 0.08, 24.3)
	c := s.run().ripple()
	require.InDelta(t, 0.16, c.Value, c.U)
	require.InDelta(t, 0.16, c.Value, 0.01)
	require.Contains(t, c.Note, "dominant 24.3 Hz, shaft 24.3 Hz")
}

// Four readings a turn, in phase: where the crests fall among the readings nothing says. Of sixteen phases U must
// cover what is there, 0.16 sqrt(2), at all but one.
func TestRipple_InPhase(t *testing.T) {
	missed := 0
	for k := range 16 {
		s := newSynth(2)
		holding(s, 9, 0, 25)
		w := &s.rec.Channels[rig.ReferencePressure]
		for i := range w.V { // readings at 0, 90, 180 and 270 degrees of a sine, and so on up to 90 degrees on
			w.V[i] += 0.08 * math.Sqrt2 * math.Sin(math.Pi/2*(float64(i)+float64(k)/16))
		}
		c := s.run().ripple()
		if math.Abs(c.Value-0.16*math.Sqrt2) > c.U {
			missed++
		}
		require.Greater(t, c.U/c.Value, 0.1, "29 % may hide between four readings a turn")
	}
	require.LessOrEqual(t, missed, 1)
}

func TestPercentile(t *testing.T) {
	require.InDelta(t, 4.8, percentile([]float64{1, 2, 3, 4, 5}, 0.95), 1e-12) // R: quantile(1:5, .95)
	require.Equal(t, 7.0, percentile([]float64{7}, 0.95))
}

func TestUnsteadiness(t *testing.T) {
	s := newSynth(2)
	holding(s, 9, 0.08, 25)
	calm, ok := s.run().Unsteadiness()
	require.True(t, ok)
	require.Less(t, calm, 0.02, "pulsation does not count")
	s = newSynth(2)
	holding(s, 9, 0.5, 0.7)
	swing, _ := s.run().Unsteadiness()
	require.InDelta(t, 0.5/math.Sqrt2, swing, 0.05)
}

func TestSensor_Zero(t *testing.T) {
	s := newSynth(2)
	s.noise[rig.LinePressure] = 0.004
	from, to := s.step(scenario.Step{Kind: scenario.Vent}, 6)
	s.sample(rig.ReferencePressure, from, to, constant(0.002))
	s.sample(rig.LinePressure, from, to, constant(0.12))
	c := s.run().sensorZero()
	require.InDelta(t, 0.118, c.Value, 0.001)
	require.InDelta(t, 0.016, c.U, 0.001)
}

// A ratiometric sensor whose supply goes reads what is left of it and then stands still.
func TestSensor_SupplyAndPinned(t *testing.T) {
	s := newSynth(2)
	s.noise[rig.LinePressure], s.noise[rig.ReferencePressure] = 0.004, 0.003
	from, to := s.step(scenario.Step{Kind: scenario.Prime, Pressure: 2}, 20)
	s.sample(rig.ReferencePressure, from, to, func(t float64) float64 { return t / 10 })
	s.sample(rig.SensorSupplyVoltage, from, to, func(t float64) float64 {
		if t > 12 && t < 14 {
			return 2.5
		}
		return 5
	})
	s.noise[rig.LinePressure] = 0
	s.sample(rig.LinePressure, from, to, constant(-0.98))
	c := s.run().sensorSupply()
	require.InDelta(t, 2.5, c.Value, c.U, "the worst second, not the mean")
	require.Contains(t, c.Note, "stood still")
	_, pinned := s.run().Pinned()
	require.True(t, pinned)

	s.rec.Channels[rig.LinePressure] = s.rec.Channels[rig.ReferencePressure]
	_, pinned = s.run().Pinned()
	require.False(t, pinned, "a sensor that moves along is not pinned")
}

// Doses: 106 g/min fully open at 9 bar, 1.5 ms of 250 ms lost: 50 % is 52.364 g/min; at 8 bar sqrt(8/9) of it.
func TestDosing(t *testing.T) {
	v := rig.DosingValve{FullFlow: 106, AtPressure: 9, Frequency: 4, Lost: 1500 * time.Microsecond}
	require.InDelta(t, 52.364, Commanded(v, 9, 50), 1e-9)
	require.InDelta(t, 52.364*math.Sqrt(8.0/9), Commanded(v, 8, 50), 1e-9)
	require.Zero(t, Commanded(v, 9, 0.5), "shorter than what an opening loses")
	require.Zero(t, Commanded(v, -1, 50))

	s := newSynth(4)
	s.noise[rig.ScaleMass] = 0.008
	for _, k := range []struct{ duty, off float64 }{{20, -3}, {50, 1}, {80, 0}} {
		from, to := s.step(scenario.Step{Kind: scenario.Dose, Duty: k.duty, Settle: 3 * time.Second}, 25)
		s.command(rig.SetDosingDuty, from, k.duty)
		s.sample(rig.ReferencePressure, from, to, constant(9))
		s.sample(rig.FluidTemperature, from, to, constant(20))
		rate := Commanded(v, 9, k.duty) * (1 + k.off/100) / 60 / buoyancy(1090)
		s.sample(rig.ScaleMass, from, to, func(t float64) float64 { return 10 + rate*t })
	}
	all := All(s.rec, s.rig, s.plan)
	for name, want := range map[string]float64{"20 %": -3, "50 %": 1, "80 %": 0} {
		c := Find(all, "dosing_error", name)
		require.Equal(t, Measured, c.State, c.Why)
		require.InDelta(t, want, c.Value, c.U, name)
		require.Less(t, c.U, 0.5, "%v", c.Budget)
	}
}

func TestPurge(t *testing.T) {
	s := newSynth(5)
	from, to := s.step(scenario.Step{Kind: scenario.Dose, Duty: 80, Settle: 3 * time.Second}, 20)
	s.command(rig.SetReturnValve, from, 0)
	s.sample(rig.ReferencePressure, from, to, constant(9))
	s.sample(rig.ReservoirMass, from, to, func(t float64) float64 { return 2000 - 84*t/60 })
	s.sample(rig.ScaleMass, from, to, func(t float64) float64 { return 84 * t / 60 })
	s.sample(rig.FluidTemperature, from, to, constant(20))
	from, to = s.step(scenario.Step{Kind: scenario.Purge, Duty: 50, Drive: 60}, 60)
	s.command(rig.SetReturnValve, from, 1)
	s.sample(rig.ReferencePressure, from, to, func(t float64) float64 { // turns after 0.2 s, 0.2 bar after 5.33 s
		return math.Max(9-math.Max(t-0.2, 0)*9/5.25, -0.3)
	})
	s.sample(rig.ReservoirMass, from, to, func(t float64) float64 { return 1972 + 38*math.Min(t/30, 1) })
	s.sample(rig.ScaleMass, from, to, func(t float64) float64 { return 28 + 2*math.Min(t/5, 1) })
	s.sample(rig.FluidTemperature, from, to, constant(20))
	r := s.run()
	over, purge, left := r.changeoverTime(), r.purgeTime(), r.purgeResidual()
	require.InDelta(t, 0.2, over.Value, over.U)
	require.InDelta(t, 0.2+8.8/9*5.25, purge.Value, purge.U)
	// 40 g came out of 38 mL and of what the circuit held under pressure, which is not known here.
	require.InDelta(t, 38-40*buoyancy(1090)/1.09, left.Value, left.U)
	require.Greater(t, left.U, 2.0)
}

// A valve that is stuck forward: the pressure does not turn, and everything says at least.
func TestPurge_StuckForward(t *testing.T) {
	s := newSynth(5)
	from, to := s.step(scenario.Step{Kind: scenario.Dose, Settle: time.Second}, 5)
	s.command(rig.SetReturnValve, from, 0)
	s.sample(rig.ReferencePressure, from, to, constant(9))
	from, to = s.step(scenario.Step{Kind: scenario.Purge}, 60)
	s.command(rig.SetReturnValve, from, 1)
	s.sample(rig.ReferencePressure, from, to, constant(7.5))
	r := s.run()
	for _, c := range []Characteristic{r.changeoverTime(), r.purgeTime()} {
		require.Equal(t, AtLeast, c.State)
		require.InDelta(t, 60, c.Value, 1e-9)
		require.NotEmpty(t, c.Why)
	}
}

func electricsRun(coilOhms func(t float64) float64, temp float64) *Run {
	s := newSynth(6)
	from, to := s.step(scenario.Step{Kind: scenario.Electrics}, 5)
	s.command(rig.SetReturnValve, from, 1)
	s.command(rig.SetHeater, from, 1)
	s.sample(rig.UnitVoltage, from, to, constant(23.4))
	s.sample(rig.ReturnValveCurrent, from, to, func(t float64) float64 { return 23.4 / coilOhms(t) })
	s.sample(rig.HeaterCurrent, from, to, constant(23.4/4))
	s.sample(rig.FluidTemperature, from, to, constant(temp))
	s.sample(rig.AmbientTemperature, from, to, constant(temp))
	return s.run()
}

// Copper at 35 °C: 10.000 ohm there is 9.443414 at 20 °C (physics.md section 6); a coil that warms at
// 0.4 ohm/s is read at the instant of switching.
func TestElectrics(t *testing.T) {
	c := electricsRun(constant(10), 35).coilResistance()
	require.InDelta(t, 9.443414, c.Value, 0.002)
	warming := electricsRun(func(t float64) float64 { return 10 + 0.4*t }, 35).coilResistance()
	require.InDelta(t, 9.443414, warming.Value, warming.U)
	require.InDelta(t, 9.443414, warming.Value, 0.03)
	h := electricsRun(constant(18), 35).heaterResistance()
	require.InDelta(t, 4, h.Value, h.U)
	require.InDelta(t, 5.85, electricsRun(constant(18), 35).heaterCurrent().Value, 0.001)
}

func TestElectrics_OpenCoil(t *testing.T) {
	c := electricsRun(func(float64) float64 { return 1e9 }, 20).coilResistance()
	require.Equal(t, AtLeast, c.State)
	require.Greater(t, c.Value, 1000.0)
	require.Contains(t, c.Why, "open")
}

func TestFaultCodes(t *testing.T) {
	s := newSynth(1)
	s.step(scenario.Step{Kind: scenario.Vent}, 60)
	require.Equal(t, NotMeasured, s.run().faultCodes().State)
	require.Contains(t, s.run().faultCodes().Why, "bare unit")
	s.rig.Kind = rig.Controller
	s.rec.Faults = []samples.Fault{
		{SPN: 3216, FMI: 20, Active: true, First: at(1), Last: at(59)},
		{SPN: 609, FMI: 9, Active: true, First: at(1), Last: at(5)}, // gone since
		{SPN: 980, FMI: 9, First: at(1), Last: at(59)},              // previously active
	}
	require.Equal(t, 1.0, s.run().faultCodes().Value)
}

// Unreached nominal: the restriction is still measured where the pump got to, and the drive is at
// least what did not suffice.
func TestWorking_NominalNotReached(t *testing.T) {
	s := newSynth(1)
	from, to := s.step(scenario.Step{Kind: scenario.Pressurise, Pressure: 9, Band: 3}, 20)
	s.rec.Steps[0].Outcome = samples.TimedOut
	s.command(rig.SetPumpDrive, from, 100)
	s.sample(rig.ReferencePressure, from, to, constant(6))
	s.sample(rig.ReturnFlow, from, to, constant(300))
	r := s.run()
	area, drive, rise := r.restrictionArea(), r.holdDrive(), r.riseTime()
	require.InDelta(t, 300e-6/60/math.Sqrt(2*5.7e5/1090)*1e6, area.Value, area.U)
	require.Contains(t, area.Note, "6.0 bar")
	require.Equal(t, AtLeast, drive.State)
	require.Equal(t, 100.0, drive.Value)
	require.Equal(t, AtLeast, rise.State)
	require.InDelta(t, 20, rise.Value, 1e-9)
}
