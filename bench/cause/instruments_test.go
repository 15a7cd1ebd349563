package cause

import (
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
)

// metered is a bench with these instruments.
func metered(channels ...rig.Channel) *rig.Rig {
	r := &rig.Rig{}
	for _, c := range channels {
		r.Channels[c] = &rig.Instrument{Channel: c}
	}
	return r
}

// An instrument competes with the unit's faults: with a check that is broken it comes first, without one hardly counts.
func TestRank_Instruments(t *testing.T) {
	r := metered(rig.ReturnFlow, rig.PumpSpeed)
	high := unit(map[string]float64{"volumetric_efficiency": 104, "restriction_area": 0.0775})
	broken := measure.Check{Name: "too much", Suspects: []rig.Channel{rig.ReturnFlow, rig.PumpSpeed}, Value: 104, High: 100, U: 0.5,
		Found: "volumetric_efficiency comes out at 104 %", Why: "no more than its stroke"}
	out := Rank(high, []measure.Check{broken}, measure.Read(completed(), r, plan()))
	require.Equal(t, "instrument-return_flow", out[0].Name)
	require.Equal(t, "the bench: return flow reads high", out[0].Title)
	require.Contains(t, out[0].Evidence, "104 %")
	require.Contains(t, out[0].OpenFirst, "beaker")

	kept := broken
	kept.Value = 100.5
	good := Rank(unit(map[string]float64{"volumetric_efficiency": 91}), []measure.Check{kept}, measure.Read(completed(), r, plan()))
	require.Equal(t, Healthy, good[0].Name)
	sum := 0.0
	for _, c := range good {
		sum += c.Probability
		if _, ok := Instrument(c.Name); ok {
			require.Less(t, c.Probability, 0.05, c.Name)
		}
	}
	require.InDelta(t, 1, sum, 1e-9)
}

// The unit's own sensor is no instrument of the bench, nor is what the bench does not have.
func TestRank_InstrumentsOfTheBench(t *testing.T) {
	r := metered(rig.LinePressure)
	r.Channels[rig.PumpSpeed] = &rig.Instrument{Channel: rig.PumpSpeed, PartOfUnit: true}
	for _, c := range Rank(nil, nil, measure.Read(completed(), r, plan())) {
		_, ok := Instrument(c.Name)
		require.False(t, ok, c.Name)
	}
}

// A run that an instrument's reading ended names it, and all causes still add up to one.
func TestRank_TripNames(t *testing.T) {
	rec := completed()
	rec.Ended = samples.BenchFault
	rec.Trip = &samples.Trip{Name: "frozen", Reading: "return_flow has read 160 mL/min for 0.1 s"}
	out := Rank(nil, nil, measure.Read(rec, metered(rig.ReturnFlow, rig.PumpSpeed), plan()))
	require.Equal(t, "instrument-return_flow", out[0].Name)
	sum := 0.0
	for _, c := range out {
		sum += c.Probability
	}
	require.InDelta(t, 1, sum, 1e-9)
}
