package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// The half-width that holds 95.45 %: 2 u of a normal distribution, 0.9545 a of a rectangle (k = 1.653; EA-4/02
// supplement 9 has 1.65 for 95 %), a (1 - sqrt(1 - 0.9545)) of a triangle, the sum of two equal rectangles; of a
// rectangle with a normal deviate by the convolution's distribution function.
func TestBudget_Expanded(t *testing.T) {
	var normal, flat, two budget
	normal.add("a", 3)
	normal.add("b", 4)
	require.InDelta(t, 10, normal.expanded(), 1e-12)
	flat.addFlat("a", 1)
	require.InDelta(t, 0.9545, flat.expanded(), 1e-4)
	two.addFlat("a", 0.5)
	two.addFlat("b", 0.5)
	require.InDelta(t, 1-math.Sqrt(1-0.9545), two.expanded(), 5e-4)
	for _, s := range []float64{0.2, 0.5, 1} { // of the rectangle's standard deviation
		mixed := append(budget{}, flat...)
		sd := s / math.Sqrt(3)
		mixed.add("noise", sd)
		at := mixed.expanded()
		within := func(z float64) float64 { return z*math.Erfc(-z/math.Sqrt2)/2 + math.Exp(-z*z/2)/math.Sqrt(2*math.Pi) }
		p := sd*(within((at+1)/sd)-within((at-1)/sd)) - 1
		require.InDelta(t, 0.9545, p, 0.006, "noise %g of the rectangle", s)
	}
	require.Zero(t, budget{}.expanded())
}

// electrics is a run with a vent of 6 s and an electrics step of 4 s: 24 V, 0.08 ohm, heater 6 A and coil 1.3 A.
func electrics(noise float64) *synth {
	s := newSynth(4)
	s.instrument(rig.SupplyVoltage, 20e6, 0.001, rig.Accuracy{OfReading: 0.1, Absolute: 0.01})
	s.wrong[rig.SupplyVoltage], s.wrong[rig.UnitVoltage] = 1.5, -1.5 // 50 mV apart
	s.noise[rig.LinePressure] = noise
	from, to := s.step(scenario.Step{Kind: scenario.Vent}, 6)
	s.command(rig.SetHeater, from, 0)
	s.sample(rig.LinePressure, from, to, constant(0))
	s.sample(rig.SupplyVoltage, from, to, constant(24))
	s.sample(rig.UnitVoltage, from, to, constant(24))
	from, to = s.step(scenario.Step{Kind: scenario.Electrics}, 4)
	s.command(rig.SetHeater, from, 1)
	s.sample(rig.SupplyVoltage, from, to, constant(24))
	s.sample(rig.UnitVoltage, from, to, constant(24-0.08*7.3))
	s.sample(rig.HeaterCurrent, from, to, constant(6))
	s.sample(rig.ReturnValveCurrent, from, to, constant(1.3))
	return s
}

// Ohm's law; what the voltmeters disagree by without a current (50 mV are 7 milliohms) drops out.
func TestWiringResistance(t *testing.T) {
	c := electrics(0).run().wiringResistance()
	require.Equal(t, Measured, c.State, c.Why)
	require.InDelta(t, 0.08, c.Value, c.U)
	require.Less(t, c.U, 0.002)
}

func TestSensorScatter(t *testing.T) {
	c := electrics(0.02).run().sensorScatter()
	require.Equal(t, Measured, c.State, c.Why)
	require.InDelta(t, 0.02, c.Value, c.U)
	require.InDelta(t, 2*0.02/math.Sqrt(2*498), c.U, 1e-4) // 5 s; standard deviation of a standard deviation
	s := electrics(0.02)
	s.rig.Channels[rig.LinePressure].Resolution = 0.08
	require.Equal(t, NotMeasured, s.run().sensorScatter().State, "coarser than the noise")
}
