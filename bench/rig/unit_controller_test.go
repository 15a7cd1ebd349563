package rig_test

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/bench/rig/rigfile"
	"holdfast/j1939/spn"
)

func unitController(t *testing.T, edit ...string) (*rig.Rig, error) {
	t.Helper()
	text, err := os.ReadFile("../../scenarios/rigs/unit-controller.yaml")
	require.NoError(t, err)
	return rigfile.Parse("unit-controller.yaml", replaced(t, text, edit...), func(string) ([]byte, error) {
		return os.ReadFile("../../scenarios/rigs/bench-node.dbc")
	})
}

func replaced(t *testing.T, text []byte, edit ...string) []byte {
	t.Helper()
	for i := 0; i+1 < len(edit); i += 2 {
		before := string(text)
		text = []byte(strings.Replace(before, edit[i], edit[i+1], 1))
		require.NotEqual(t, before, string(text), edit[i])
	}
	return text
}

// The request as PGN 61476 has it, frame by hand: 3000 g/h is 10000 of 0.3 g/h (10 27), state 2 in the low half of
// byte 3, everything else not available; from F9h to all.
func TestUnitController_Requests(t *testing.T) {
	r, err := unitController(t)
	require.NoError(t, err)
	require.Equal(t, rig.Controller, r.Kind)
	var out rig.Outputs
	out[rig.SetUnitState], out[rig.SetDosingRequest], out[rig.SetUnitPower] = rig.StateDosing, 50, 1
	require.NoError(t, r.Check(out))
	frames := rig.NewEncoder(r).Encode(out, nil)
	require.Len(t, frames, 2)
	found := false
	for _, f := range frames {
		if f.ID == 0x0CF024F9 {
			found = true
			require.Equal(t, [8]byte{0x10, 0x27, 0xF2, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}, [8]byte(f.Data))
		}
	}
	require.True(t, found, "%v", frames)

	out[rig.SetUnitState] = 14
	require.ErrorContains(t, r.Check(out), "requested_state 14")
	out[rig.SetUnitState], out[rig.SetDosingRequest] = 0, 400
	require.ErrorContains(t, r.Check(out), "dosing_request 400")
}

// 0CF0233D # 64 00 02 E8 03 4B FF FF: 30 g/h, state 2, 600 kPa absolute (worked frame, computed from the parameter
// table); 98 kPa from the barometer makes 5.02 bar gauge.
func TestUnitController_Reports(t *testing.T) {
	r, err := unitController(t)
	require.NoError(t, err)
	d := rig.NewDecoder(r)
	d.Decode(frame(ambient, 0xA0, 0x24, 0x40, 0x25, 0x48, 0x26, 0x50, 0xC3), nil)
	got := byChannel(t, d.Decode(frame(0x0CF0233D, 0x64, 0x00, 0x02, 0xE8, 0x03, 0x4B, 0xFF, 0xFF), nil))
	require.InDelta(t, 5.02, got[rig.LinePressure].Value, 1e-9)
	require.InDelta(t, 0.5, got[rig.DosingRate].Value, 1e-9, "g/min")
	require.Equal(t, 2.0, got[rig.UnitState].Value)
	require.Equal(t, spn.Valid, got[rig.UnitState].Status)
	require.InDelta(t, 0.08, r.Channels[rig.LinePressure].Resolution, 1e-9, "8 kPa per bit")
	require.Empty(t, d.Decode(frame(0x0CF0233E, 0x64, 0x00, 0x02, 0xE8, 0x03, 0x4B, 0xFF, 0xFF), nil), "another unit")
}

func TestUnitController_Mistakes(t *testing.T) {
	_, err := unitController(t, "safe: dormant", "safe: dosing")
	require.ErrorContains(t, err, "dormant")
	_, err = unitController(t, "{signal: {spn: 4349}, safe: dormant}", "{signal: {spn: 6593}, safe: dormant}")
	require.ErrorContains(t, err, "a state wants 4 bits or more and no unit")
}
