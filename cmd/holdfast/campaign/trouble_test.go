package campaign_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/judge"
	"holdfast/cmd/holdfast/campaign"
)

// A bench in trouble ends the run as that, whatever the trouble, and never with a verdict on the unit.
func TestPerform_TroubleIsNoVerdict(t *testing.T) {
	c := shipped(t, 1)
	for _, name := range campaign.TroubleNames {
		if name == "unit-silent" || name == "frames-lost" { // no such unit here; and a few frames lost end nothing
			continue
		}
		d := campaign.Draw{Seed: 4, Trouble: campaign.Trouble{Name: name, From: 70 * time.Second}}
		u, res, err := c.Perform(context.Background(), d)
		require.NoError(t, err)
		require.NotNil(t, res.Recording.Trip, name)
		t.Log(name, u.Verdict, u.Trip, u.Causes[0].Name)
		require.NotContains(t, []judge.Overall{judge.Pass, judge.Fail}, u.Verdict, name)
	}
}

// Lost frames are counted and told.
func TestPerform_LostFramesAreCounted(t *testing.T) {
	c := shipped(t, 1)
	_, res, err := c.Perform(context.Background(), campaign.Draw{Seed: 4,
		Trouble: campaign.Trouble{Name: "frames-lost", Rate: 0.02}})
	require.NoError(t, err)
	require.Greater(t, res.Recording.FramesLost, uint64(100))
}
