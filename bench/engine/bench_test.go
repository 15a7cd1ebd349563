package engine

import (
	"math"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/bench/rig"
	"holdfast/bench/rig/rigfile"
	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// The identifiers of the bench node's messages, from scenarios/rigs/bench-node.dbc.
const (
	idOutputs    = 2365526265 & 0x1fffffff
	idHydraulics = 2365526472 & 0x1fffffff
	idElectrics  = 2365526728 & 0x1fffffff
	idScale      = 2365526984 & 0x1fffffff
	idAmbient    = 2566853832 & 0x1fffffff
)

const epoch clock.Instant = 1_700_000_000_000_000_000

// plant is the least bench that a plan can run on: one pressure with a pump, a return and a
// vent. It is not the simulator: it exists to be broken in the ways that the tests need.
type plant struct {
	now      clock.Instant
	pressure float64 // bar gauge
	out      einride.Data
	heard    []command
	// What a test breaks.
	silentFrom clock.Instant
	silentTo   clock.Instant // 0: for ever
	deaf       bool          // while it is silent it hears nothing either
	addBar     float64       // added to both pressure readings
	sensorBad  bool          // the unit's sensor sends the error indicator
	stop       bool          // emergency stop pressed
}

type command struct {
	at   clock.Instant
	data einride.Data
}

func (p *plant) Next() clock.Instant { return p.now.Add(10 * time.Millisecond) }

func (p *plant) Step(now clock.Instant, in []can.Frame, out []einride.Frame) []einride.Frame {
	for _, f := range in {
		if f.ID == idOutputs && !(p.deaf && p.silent(now)) {
			p.out = f.Data
			p.heard = append(p.heard, command{f.Time, f.Data})
		}
	}
	if now < p.Next() {
		return out
	}
	dt := now.Seconds(p.now)
	p.now = now
	p.move(dt)
	if p.silent(now) {
		return out
	}
	return p.send(out)
}

func (p *plant) silent(now clock.Instant) bool {
	return p.silentFrom != 0 && now >= p.silentFrom && (p.silentTo == 0 || now < p.silentTo)
}

func (p *plant) drive() float64 { return float64(p.out.UnsignedBitsLittleEndian(0, 16)) / 100 }
func (p *plant) bits(start uint8) bool {
	return p.out.UnsignedBitsLittleEndian(start, 2) == 1
}

// move is the circuit in four flows (bar/s): pump, return, dosing, vent.
func (p *plant) move(dt float64) {
	pump := 0.0
	if !p.bits(32) { // return valve released
		pump = 0.15 * p.drive()
	}
	root := math.Sqrt(math.Max(p.pressure, 0))
	flow := pump
	if !p.bits(34) {
		flow -= 2.2 * root
	}
	flow -= float64(p.out.UnsignedBitsLittleEndian(16, 16)) / 10000 * 3 * root
	if p.bits(40) {
		flow -= 20 * root
	}
	if p.bits(32) {
		flow -= 5 * root
	}
	p.pressure = math.Max(p.pressure+flow*dt, 0)
}

func (p *plant) send(out []einride.Frame) []einride.Frame {
	ms := int64(p.now/1e6) % 1000
	kPa := uint64(math.Round((100 + 100*(p.pressure+p.addBar)) / 0.05))
	unit := kPa
	if p.sensorBad {
		unit = 0xFE00
	}
	out = append(out, frame(idHydraulics, field{0, 16, unit}, field{16, 16, kPa}, field{32, 16, 0}, field{48, 16, 0}))
	if ms%20 == 0 {
		out = append(out, frame(idElectrics, field{0, 16, 24000}, field{16, 16, 24000}, field{32, 16, 1000}, field{48, 16, 0}))
	}
	if ms%100 == 0 {
		stop := uint64(0)
		if p.stop {
			stop = 1
		}
		out = append(out, frame(idScale, field{0, 24, 100000}, field{24, 16, 5000}, field{40, 16, 0},
			field{56, 2, stop}, field{58, 2, 1}, field{60, 2, 0}, field{62, 2, 1}))
	}
	if ms == 0 {
		out = append(out, frame(idAmbient, field{0, 16, 9440}, field{16, 16, 9440}, field{32, 16, 10000}, field{48, 16, 10000}))
	}
	return out
}

type field struct {
	start, length uint8
	raw           uint64
}

func frame(id uint32, fields ...field) einride.Frame {
	f := einride.Frame{ID: id, IsExtended: true, Length: 8}
	for _, x := range fields {
		f.Data.SetUnsignedBitsLittleEndian(x.start, x.length, x.raw)
	}
	return f
}

// shippedRig reads the rig file by its place: the engine itself is handed a checked rig.
func shippedRig(t testing.TB) *rig.Rig {
	t.Helper()
	const folder = "../../scenarios/rigs/"
	text, err := os.ReadFile(folder + "bench-node.yaml")
	require.NoError(t, err)
	r, err := rigfile.Parse("bench-node.yaml", text, func(name string) ([]byte, error) { return os.ReadFile(folder + name) })
	require.NoError(t, err)
	return r
}
