package diag_test

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/diag"
)

func TestConversions(t *testing.T) {
	var c diag.Conversions
	require.Equal(t, diag.Version3, c.Of(61), "nothing stated: J1939-73 version 3 is the usual old one")
	require.NoError(t, c.Set("1"))
	require.NoError(t, c.Set("0=2, 0x3D=3"))
	require.Equal(t, []diag.Version{2, 3, 1}, []diag.Version{c.Of(0), c.Of(61), c.Of(17)})
	for _, bad := range []string{"", "4", "0", "x", "256=1", "1=", "=1", "-1=1", "1=1=1"} {
		require.Error(t, c.Set(bad), bad)
	}
	require.Equal(t, diag.Version2, c.Of(0), "what is refused changes nothing for others")
}

// DM25 of a source is read with its DM24: SPN 1761 (1 byte, 0.4 %) and 4360 (2 bytes, 0.03125 °C - 273 °C),
// of which the second record is in freeze frames. Records F9 and F10 of the ETI tests.
func TestExpandedFrames_Expand(t *testing.T) {
	support, err := diag.DecodeSupport([]byte{0xE1, 0x06, 0x1C, 1, 0x08, 0x11, 0x1E, 2, 0x53, 0, 0x1D, 1})
	require.NoError(t, err)
	frames, err := diag.DecodeExpandedFrames([]byte{8, 0xEE, 0x10, 0x12, 1, 125, 0x00, 0x2C, 0xAA}, diag.DefaultOld)
	require.NoError(t, err)
	full := frames.Expand(support)
	require.Len(t, full, 1)
	require.Equal(t, "freeze frame of SPN 4334 FMI 18: "+
		"Aftertreatment 1 Diesel Exhaust Fluid Tank Volume (1761) 50.0 %, "+
		"Aftertreatment 1 SCR Intake Temperature (4360) 79.00 °C, maker's data AA", string(full.AppendText(nil)))
	level, ok := full[0].Values[0].Number()
	require.True(t, ok)
	require.InDelta(t, 50, level, 1e-9)
	text, err := json.Marshal(full)
	require.NoError(t, err)
	require.JSONEq(t, `[{"fault":{"spn":4334,"fmi":18,"count":1,
		"name":"Aftertreatment 1 Diesel Exhaust Fluid Doser 1 Absolute Pressure",
		"failure":"below normal, moderately severe"},
		"values":[{"spn":1761,"name":"Aftertreatment 1 Diesel Exhaust Fluid Tank Volume","value":50,"unit":"%"},
		{"spn":4360,"name":"Aftertreatment 1 SCR Intake Temperature","value":79,"unit":"°C"}],
		"maker_data":"AA","cut":false}]`, string(text))
}

func TestEncode_RefusesWhatDoesNotFit(t *testing.T) {
	_, err := diag.TestCommand{Test: 247, SPN: 1 << 19}.Encode()
	require.Error(t, err)
	_, err = diag.NewClear(diag.ClearActive, 5, 32).Encode()
	require.Error(t, err)
	_, err = diag.Broadcast{Hold: 16}.Encode()
	require.Error(t, err)
	b := diag.NewBroadcast()
	b.Links[diag.J1850] = 4
	_, err = b.Encode()
	require.Error(t, err)
}
