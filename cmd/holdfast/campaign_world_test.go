package main

import (
	"encoding/json"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/cmd/holdfast/campaign"
)

// TestCampaign_Worlds: both worlds give the same tables, from true values that each world tells of itself.
func TestCampaign_Worlds(t *testing.T) {
	if testing.Short() {
		t.Skip("a campaign in the second world takes seconds")
	}
	args := []string{"campaign", "release", "--rig", "bench-node", "--units", "2", "--seed", "3", "--healthy", "0.5",
		"--several", "0", "--lying", "1", "--json", "--world"}
	for world, more := range map[string][]string{
		campaign.WorldOwn:   {"--bench-problems", "0", "--repeats", "2"},
		campaign.WorldOther: {"--bus", startLockstep(t, otherWorld(t))},
	} {
		t.Run(world, func(t *testing.T) {
			again := ""
			for range 2 { // the same bytes, whatever the number of jobs
				status, out, errOut := holdfast(append(append(args, world, "--jobs", []string{"1", "2"}[min(len(again), 1)]), more...)...)
				require.Equal(t, exitDone, status, errOut)
				if again != "" {
					require.Equal(t, again, out)
				}
				again = out
			}
			var s struct {
				Units    int
				Coverage []struct{ Units int }
				Compared campaign.Compared
			}
			require.NoError(t, json.Unmarshal([]byte(again), &s))
			require.Equal(t, map[string]int{campaign.WorldOwn: 4, campaign.WorldOther: 2}[world], s.Units, "tests")
			require.Equal(t, world, s.Compared.World)
			require.NotEmpty(t, s.Coverage)
			require.Greater(t, s.Compared.Highest, 8.5)
			require.Equal(t, world == campaign.WorldOwn, len(s.Compared.Repeats) > 0)
		})
	}
}

func TestCampaign_WorldRefuses(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"--world", "third"}, "own or other would do"},
		{[]string{"--world", "other"}, "go run ./sim/other"},
		{[]string{"--world", "other", "--bus", "can0"}, "joins a simulation in lock-step"},
		{[]string{"--bus", "lockstep:/tmp/x"}, "go with the other world"},
		{[]string{"--lying", "0.5"}, "by world"},
		{[]string{"--world", "own", "--lying", "2"}, "0 to 1 would do"},
		{[]string{"--world", "own", "--repeats", "-1"}, "up to"},
		{[]string{"--world", "other", "--bus", "lockstep:/tmp/x", "--set", "a"}, "KEY=VALUE"},
		{[]string{"--world", "other", "--bus", "lockstep:/tmp/x", "--bench-problems", "0.1"}, "of the own world alone"},
	} {
		status, _, errOut := holdfast(append([]string{"campaign", "release", "--rig", "bench-node"}, c.args...)...)
		require.Equal(t, exitUsage, status)
		require.Contains(t, errOut, c.want, "%v", c.args)
	}
	missing := "lockstep:" + filepath.Join(t.TempDir(), "none")
	status, _, errOut := holdfast("campaign", "release", "--rig", "bench-node", "--world", "other", "--bus", missing)
	require.NotEqual(t, exitDone, status)
	require.Contains(t, errOut, "no simulation listens there")
}
