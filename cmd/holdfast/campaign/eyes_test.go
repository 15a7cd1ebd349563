package campaign_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/judge"
	"holdfast/bench/scenario/scenariofile"
	"holdfast/cmd/holdfast/campaign"
	"holdfast/scenarios"
)

// withEyes is a campaign of the release test with a person at the bench.
func withEyes(t *testing.T, units int) campaign.Config {
	t.Helper()
	c := shipped(t, units)
	text, path, err := scenarios.Read("release-with-eyes")
	require.NoError(t, err)
	c.Plan, err = scenariofile.Parse(path, text)
	require.NoError(t, err)
	return c
}

// A fluid with a fifth of water fails by the refractometer and is named first; without one it passes, and with all
// water it cannot: dosed mass against metered volume tells.
func TestPerform_WrongFluid(t *testing.T) {
	ctx := context.Background()
	c := withEyes(t, 1)
	u, _, err := c.Perform(ctx, campaign.Draw{Seed: 11, Faults: map[string]float64{"wrong-fluid": 0.2}})
	require.NoError(t, err)
	require.Equal(t, judge.Fail, u.Verdict)
	require.Equal(t, "wrong-fluid", u.Causes[0].Name)
	require.False(t, u.Good)
	for _, v := range u.Values {
		if v.Name == "urea_content" {
			require.InDelta(t, 26, v.Truth, 1, "32.5 % of four fifths by volume")
			require.InDelta(t, v.Truth, v.Value, 0.5)
		}
	}
	c = shipped(t, 1)
	u, res, err := c.Perform(ctx, campaign.Draw{Seed: 11, Faults: map[string]float64{"wrong-fluid": 1}})
	require.NoError(t, err)
	require.NotEqual(t, judge.Pass, u.Verdict)
	require.Equal(t, "wrong-fluid", u.Causes[0].Name)
	require.Contains(t, res.Warnings[len(res.Warnings)-1], "a refractometer tells")
}

// A person sees a leak to the outside, and nothing where there is none.
func TestPerform_Eyes(t *testing.T) {
	c := withEyes(t, 1)
	for fault, want := range map[string]string{"outside-leak": "yes", "membrane-split": "no"} {
		_, res, err := c.Perform(context.Background(), campaign.Draw{Seed: 12, Faults: map[string]float64{fault: 0.3}})
		require.NoError(t, err)
		said := ""
		for _, l := range res.Lines {
			if l.Name == "external_leak" {
				said = l.Said
			}
		}
		require.Equal(t, want, said, fault)
	}
}
