package interlock

import (
	"testing"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/bench/rig"
	"holdfast/j1939/can"
)

func sent(id uint32, data ...byte) can.Frame {
	f := can.Frame{Frame: einride.Frame{ID: id, IsExtended: true, Length: uint8(len(data))}}
	copy(f.Data[:], data)
	return f
}

// TestVehicleGuard_Speeds: identifiers and scaling by SAE J1939-71: EEC1 (PGN 61444) has engine speed in
// bytes 4 and 5 at 0.125 r/min per bit, CCVS1 (PGN 65265) wheel speed in bytes 2 and 3 at 1/256 km/h.
func TestVehicleGuard_Speeds(t *testing.T) {
	for _, c := range []struct {
		name  string
		frame can.Frame
		alive bool
	}{
		{"engine idles", sent(0x0CF00400, 0xF0, 0x7D, 0x7D, 0xC0, 0x12, 0xFF, 0xFF, 0xFF), true}, // 600 r/min
		{"engine stands", sent(0x0CF00400, 0xF0, 0x7D, 0x7D, 0, 0, 0xFF, 0xFF, 0xFF), false},
		{"speed not available", sent(0x0CF00400, 0xF0, 0x7D, 0x7D, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF), false},
		{"speed in error", sent(0x0CF00400, 0xF0, 0x7D, 0x7D, 0, 0xFE, 0xFF, 0xFF, 0xFF), false},
		{"wheels turn", sent(0x18FEF100, 0xFF, 0, 5, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF), true}, // 5 km/h
		{"wheels stand", sent(0x18FEF100, 0xFF, 0, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF), false},
		{"too short", sent(0x0CF00400, 0xF0, 0x7D), false},
	} {
		t.Run(c.name, func(t *testing.T) {
			g := NewVehicleGuard(nil)
			g.Hear(c.frame)
			why, alive := g.Alive()
			require.Equal(t, c.alive, alive, why)
			g.Hear(sent(0x0CF00400, 0xF0, 0x7D, 0x7D, 0, 0, 0xFF, 0xFF, 0xFF))
			_, still := g.Alive()
			require.Equal(t, c.alive, still, "what is found stays found")
		})
	}
}

// TestVehicleGuard_Strangers: an address that the rig does not declare is a sign, except without a
// rig, and except what is no address at all.
func TestVehicleGuard_Strangers(t *testing.T) {
	r := &rig.Rig{Source: 0xF9, Node: 0xC8}
	for _, c := range []struct {
		frame can.Frame
		rig   *rig.Rig
		alive bool
	}{
		{sent(0x18FF11C8, 1), r, false},
		{sent(0x18FF11F9, 1), r, false},
		{sent(0x18FF1142, 1), r, true},
		{sent(0x18FF1142, 1), nil, false},
		{sent(0x18EEFFFE, 1), r, false},
		{can.Frame{Frame: einride.Frame{ID: 0x142, Length: 1}}, r, false},
	} {
		g := NewVehicleGuard(c.rig)
		g.Hear(c.frame)
		why, alive := g.Alive()
		require.Equal(t, c.alive, alive, "%08X: %s", c.frame.ID, why)
	}
}

// TestVehicleGuard_OtherSenders: a node of the bench that no channel reads may send, but not as an engine.
func TestVehicleGuard_OtherSenders(t *testing.T) {
	r := &rig.Rig{Source: 0xF9, Node: 0xC8, Others: []rig.OtherSender{{Address: 0x33, What: "power supply"}}}
	g := NewVehicleGuard(r)
	g.Hear(sent(0x18FF1133, 1))
	g.Hear(sent(0x0CF00433, 0xF0, 0x7D, 0x7D, 0, 0, 0xFF, 0xFF, 0xFF)) // an engine that stands
	why, alive := g.Alive()
	require.False(t, alive, why)
	g.Hear(sent(0x18FF1134, 1))
	why, _ = g.Alive()
	require.Contains(t, why, "0x34")
	require.Contains(t, why, "other_senders")
	for _, f := range []can.Frame{sent(0x0CF00433, 0xF0, 0x7D, 0x7D, 0xC0, 0x12, 0xFF, 0xFF, 0xFF),
		sent(0x18FEF133, 0xFF, 0, 5, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF)} {
		g := NewVehicleGuard(r)
		g.Hear(f)
		why, alive := g.Alive()
		require.True(t, alive)
		require.Contains(t, why, "0x33")
	}
}
