package rig

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"
)

// Cycle times of bench-node.dbc: 10, 20, 100 and 1000 ms.
func TestNode_Periods(t *testing.T) {
	n := NewNode(rand.New(rand.NewPCG(1, 1)))
	sent := map[uint32]int{}
	for k := range 200 {
		for _, f := range n.Send(time.Duration(k)*Tick, &Readings{}, nil) {
			require.NoError(t, f.Validate())
			sent[f.ID]++
		}
	}
	require.Equal(t, map[uint32]int{idHydraulics: 200, idElectrics: 100, idScale: 20, idAmbient: 2, idAlive: 20}, sent)
}

func TestNode_UnitSensor(t *testing.T) {
	n := NewNode(rand.New(rand.NewPCG(1, 1)))
	raw := func(s SensorState) uint64 {
		f := n.hydraulics(&Readings{UnitPressure: 1000, UnitSensor: s})
		return fUnitPressure.Raw(&f.Data)
	}
	require.EqualValues(t, 20000, raw(SensorRead))
	require.EqualValues(t, 0xFE, raw(SensorBroken)>>8)
	require.EqualValues(t, 0xFFFF, raw(SensorUnfed))
}

// An instrument's error over many benches is what its class says: a fraction of about 95 % inside.
func TestInstruments_KeepTheirClass(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	inside, sum := 0, 0.0
	const benches = 4000
	for range benches {
		n := NewNode(rng)
		e := n.ReferenceError(1000)
		sum += e * e
		if math.Abs(e) <= 1.6 { // kPa: 0.1 % of 16 bar
			inside++
		}
	}
	require.InDelta(t, 0.954, float64(inside)/benches, 0.012)
	require.InDelta(t, 0.8, math.Sqrt(sum/benches), 0.03)
}

func TestNode_Tare(t *testing.T) {
	n := NewNode(rand.New(rand.NewPCG(1, 1)))
	mass := func(g float64) float64 {
		f := n.weigh(&Readings{Beaker: g})
		return float64(fScaleMass.Raw(&f.Data))*0.01 - 1000
	}
	require.InDelta(t, 250, mass(250), 0.1)
	n.now.Tare = true
	require.InDelta(t, 0, mass(250), 0.001, "at the first message after the command")
	require.InDelta(t, 10, mass(260), 0.1, "held: it does not tare again")
	n.now.Tare = false
	require.InDelta(t, 20, mass(270), 0.1)
}

func TestNode_States(t *testing.T) {
	n := NewNode(rand.New(rand.NewPCG(1, 1)))
	states := func(r Readings) einride.Data { f := n.weigh(&r); return f.Data }
	d := states(Readings{})
	require.EqualValues(t, 1, fGuardClosed.Raw(&d))
	require.Zero(t, fEmergencyStop.Raw(&d)+fShutoffState.Raw(&d)+fEnabled.Raw(&d))
	d = states(Readings{ShutoffShut: true, Emergency: true, GuardOpen: true})
	require.Zero(t, fGuardClosed.Raw(&d))
	require.EqualValues(t, 2, fEmergencyStop.Raw(&d)+fShutoffState.Raw(&d))
}
