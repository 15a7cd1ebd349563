package main

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/cmd/holdfast/campaign"
)

const campaignUnits = "6"

func campaignOf(t *testing.T, args ...string) (status int, out, errOut string) {
	t.Helper()
	return holdfast(append([]string{"campaign", "release", "--rig", "bench-node", "--units", campaignUnits, "--seed", "2"},
		args...)...)
}

// TestCampaign: tables on stdout, progress on stderr, three files in a folder; the JSON is the same as the file.
func TestCampaign(t *testing.T) {
	long(t)
	dir := filepath.Join(t.TempDir(), "camp")
	status, out, errOut := campaignOf(t, "--out", dir, "--jobs", "2")
	require.Equal(t, exitDone, status, errOut)
	for _, part := range []string{"wrong passes", "named first", "covered", "leak_rate"} {
		require.Contains(t, out, part)
	}
	require.Contains(t, errOut, campaignUnits+"/"+campaignUnits+" units")
	for _, name := range []string{"campaign.txt", "campaign.json", "units.csv"} {
		text, err := os.ReadFile(filepath.Join(dir, name))
		require.NoError(t, err)
		require.NotEmpty(t, text)
	}
	status, out, _ = campaignOf(t, "--json", "--jobs", "1")
	require.Equal(t, exitDone, status)
	kept, err := os.ReadFile(filepath.Join(dir, "campaign.json"))
	require.NoError(t, err)
	require.Equal(t, string(kept), out, "same seed, same bytes, whatever the number of jobs")
	require.True(t, json.Valid(kept))
}

// TestCampaign_Only shows one unit, with the seed that holdfast run takes.
func TestCampaign_Only(t *testing.T) {
	status, out, errOut := campaignOf(t, "--only", "3")
	require.Equal(t, exitDone, status, errOut)
	require.Contains(t, out, "seed 2000003")
	require.Contains(t, out, "error/U")
}

func TestCampaign_Refuses(t *testing.T) {
	for _, args := range [][]string{{"--units", "0"}, {"--jobs", "0"}, {"--fault", "rust"}, {"--healthy", "2"},
		{"--severity", "light"}, {"--severity", "0.3..0.1"}, {"--bench-problem", "rust"}} {
		status, _, errOut := campaignOf(t, args...)
		require.Equal(t, exitUsage, status, errOut)
	}
	_, _, errOut := campaignOf(t, "--fault", "pump-worn,sensor-ofset")
	require.Contains(t, errOut, "did you mean sensor-offset?")
}

// TestCampaign_Chosen: only the faults and the severities that were asked for, and the line that runs it again.
func TestCampaign_Chosen(t *testing.T) {
	status, out, errOut := campaignOf(t, "--fault", "sensor-supply-lost,sensor-offset", "--healthy", "0", "--several", "0",
		"--bench-problems", "0.4", "--bench-problem", "bus-off", "--severity", "0.4..0.6", "--json")
	require.Equal(t, exitDone, status, errOut)
	var got campaign.Summary
	require.NoError(t, json.Unmarshal([]byte(out), &got))
	for _, n := range got.Causes {
		require.Contains(t, []string{"sensor-supply-lost", "sensor-offset"}, n.Fault)
	}
	require.Equal(t, "bus-off", got.Troubles[0].Name)
	require.NotEmpty(t, got.Mixups)
	o := campaignOptions{scenario: "release", rig: "bench-node", seed: 2, spread: 1, severity: "0.4..0.6",
		faults: []string{"a", "b"}, problems: []string{"c"}}
	require.Equal(t, "holdfast campaign release --rig bench-node --seed 2 --healthy 0 --several 0 --bench-problems 0 "+
		"--spread 1 --room 0 --tank 0 --severity 0.4..0.6 --fault a,b --bench-problem c", o.itself())
}

// TestBarLine: how much is done, and how long it will still take.
func TestBarLine(t *testing.T) {
	require.Equal(t, "[###...........................] 200/2000 units, 45s left", barLine(200, 2000, 5*time.Second))
}

// TestCampaign_RunMakesItAgain: holdfast run with the seed and the faults of a unit gives the same values to
// the digits that are written: the line beside a worst case is true.
func TestCampaign_RunMakesItAgain(t *testing.T) {
	plan, r, err := loadPlanAndRig("release", "bench-node")
	require.NoError(t, err)
	c := campaign.Config{Plan: plan, Rig: r, Units: 1, Seed: 5, Jobs: 1, Several: 1}
	d := c.Draw(2)
	require.NotEmpty(t, d.Faults)
	u, result, err := c.Perform(context.Background(), d)
	require.NoError(t, err)
	args := append([]string{"--seed", strconv.FormatUint(d.Seed, 10)}, strings.Fields(d.String())...)
	again, _ := runOnSim(t, args...)
	require.Equal(t, result.Verdict.String(), again.Verdict)
	require.Len(t, again.Characteristics, len(u.Values))
	for i, v := range u.Values {
		if got := again.Characteristics[i].Value; v.Measured {
			require.NotNil(t, got, v.Name)
			require.InDelta(t, v.Value, *got, 0.05*v.U+1e-9, v.Name)
		}
	}
}
