package survey

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/diag"
	"holdfast/j1939/ident"
	"holdfast/j1939/survey/surveytest"
)

// scanned is scan on a virtual bus with one controller that says all it has, as JSON.
func scanned(t *testing.T) []byte {
	t.Helper()
	bus := newBus()
	unit := surveytest.NewECU(61, diag.Faults{DTCs: []diag.DTC{
		{SPN: 4334, FMI: 18, Count: 3, Version: diag.Version4},
		{SPN: 4376, FMI: 5, Count: diag.CountNotAvailable, Version: diag.Version4}}})
	bus.Attach(unit)
	var s Survey
	p := joined(t, bus, &s)
	require.NoError(t, s.AskAll(context.Background(), p))
	s.take(diag.DM2, 61, mustAppend(t, diag.Faults{}))
	s.take(diag.DM4, 61, unit.Answer(diag.DM4, 249))
	all := s.Controllers(p.Node().Address())
	require.Len(t, all, 1)
	require.NotZero(t, all[0].Messages)
	all[0].Messages = 20 // how many come depends on the delay before our own claim, which differs
	text, err := json.MarshalIndent(File{Format, all}, "", "  ")
	require.NoError(t, err)
	return append(text, '\n')
}

func mustAppend(t *testing.T, f diag.Faults) []byte {
	t.Helper()
	b, err := f.Append(nil)
	require.NoError(t, err)
	return b
}

// Programs of others read this: what it is called does not change by accident. GOLDEN=true writes it anew.
func TestScanJSON_Golden(t *testing.T) {
	const path = "testdata/scan.golden.json"
	got := scanned(t)
	if os.Getenv("GOLDEN") == "true" {
		require.NoError(t, os.WriteFile(path, got, 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), string(got))
}

// Every name is snake_case, and what was written is read back as the same, nothing unknown and nothing lost.
func TestScanJSON_ReadBack(t *testing.T) {
	text := scanned(t)
	for _, name := range regexp.MustCompile(`"([^"]*)":`).FindAllSubmatch(text, -1) {
		require.Regexp(t, `^[a-z][a-z0-9_]*$`, string(name[1]))
	}
	var read File
	reader := json.NewDecoder(bytes.NewReader(text))
	reader.DisallowUnknownFields()
	require.NoError(t, reader.Decode(&read))
	again, err := json.MarshalIndent(read, "", "  ")
	require.NoError(t, err)
	require.Equal(t, string(text), string(again)+"\n")
	c := read.Controllers[0]
	require.Equal(t, "Some Hardware ID", c.Identity.ECU.HardwareID.String(), "worked example F4")
	require.InDelta(t, 76.7, c.Identity.Hours.Hours, 1e-9, "worked example B15")
	require.Equal(t, "3HAMKSTN0FL575012", c.Identity.Vehicle.VIN.String(), "worked example F3")
	require.Nil(t, c.Faults[0].Codes[1].Count, "127 is no number of occurrences")
	require.EqualValues(t, 7, c.Fields.Identity)
	require.Equal(t, ident.Text(nil), c.Identity.ECU.Made, "not sent, which is not empty")
}
