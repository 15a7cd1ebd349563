package main

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// command runs one command line and returns what it printed.
func TestSpn_Number(t *testing.T) {
	status, out, _ := holdfast("spn", "4334")
	require.Equal(t, exitDone, status)
	for _, want := range []string{
		"PGN 61475 (F023) A1SCRDSI1", "byte 6 (8 bits)", "8 kPa per bit, offset 0; range 0 to 2000 kPa",
		"FMI 18  below normal, moderately severe. Usually: pressure low, moderate", "2+ sources", "absolute",
	} {
		require.Contains(t, out, want)
	}
}

// The tool shows what rests on memory.
func TestSpn_ShowsConfidence(t *testing.T) {
	_, out, _ := holdfast("spn", "5826")
	require.Contains(t, out, "(by analogy with SPN 5246; memory)")
	require.Contains(t, out, "1 source")
	_, out, _ = holdfast("spn", "5394")
	require.Contains(t, out, "trouble codes only")
	require.Contains(t, out, "doser valve stuck")
}

func TestSpn_Words(t *testing.T) {
	status, out, _ := holdfast("spn", "return", "valve")
	require.Equal(t, exitDone, status)
	require.Len(t, strings.Split(strings.TrimSpace(out), "\n"), 2, "one for each bank")
	require.Contains(t, out, "4376")
	require.Contains(t, out, "older: ")
}

func TestSpn_JSON(t *testing.T) {
	status, out, _ := holdfast("spn", "1214", "--json")
	require.Equal(t, exitDone, status)
	var all []struct {
		SPN uint32
		PGN uint32
	}
	require.NoError(t, json.Unmarshal([]byte(out), &all))
	require.Len(t, all, 3)
	require.EqualValues(t, 65226, all[0].PGN)
	_, out, _ = holdfast("spn", "3217", "--json")
	require.Contains(t, out, `"resolution": 0.000514`)
	require.Contains(t, out, `"maximum": 21.02707`)
}

func TestSpn_NotFound(t *testing.T) {
	for args, says := range map[string]string{
		"1": "not in the catalogue", "600000": "524287", "no-such-word": "use fewer words",
	} {
		status, out, errOut := holdfast("spn", args)
		require.Equal(t, exitUsage, status)
		require.Empty(t, out)
		require.Contains(t, errOut, says)
	}
}
