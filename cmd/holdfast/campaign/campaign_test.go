package campaign_test

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/judge"
	"holdfast/bench/rig/rigfile"
	"holdfast/bench/scenario/scenariofile"
	"holdfast/cmd/holdfast/campaign"
	"holdfast/scenarios"
)

// shipped is a campaign of the shipped release test on the shipped bench.
func shipped(t testing.TB, units int) campaign.Config {
	t.Helper()
	text, path, err := scenarios.Read("release")
	require.NoError(t, err)
	plan, err := scenariofile.Parse(path, text)
	require.NoError(t, err)
	text, path, err = scenarios.ReadRig("bench-node")
	require.NoError(t, err)
	r, err := rigfile.Parse(path, text, scenarios.ReadDBC)
	require.NoError(t, err)
	return campaign.Config{Plan: plan, Rig: r, Units: units, Seed: 1, Jobs: 2,
		Healthy: campaign.UsualHealthy, Several: campaign.UsualSeveral, Trouble: campaign.UsualTrouble}
}

func bytesOf(t *testing.T, c campaign.Config) []byte {
	t.Helper()
	s, err := campaign.Run(context.Background(), c)
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, s.Text(&out))
	require.NoError(t, s.CSV(&out))
	require.NoError(t, json.NewEncoder(&out).Encode(s))
	return out.Bytes()
}

// The same seed gives the same bytes, whatever the number of jobs; another seed does not.
func TestRun_SameSeedSameBytes(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds: make test runs it")
	}
	c := shipped(t, 5)
	once := bytesOf(t, c)
	c.Jobs = 5
	require.True(t, bytes.Equal(once, bytesOf(t, c)), "five jobs for two")
	c.Seed, c.Units = 2, 1
	require.False(t, bytes.Equal(once, bytesOf(t, c)))
}

// A unit of a campaign of 5 is that of a campaign of 5000.
func TestDraw_DependsOnNumberAlone(t *testing.T) {
	small, large := shipped(t, 5), shipped(t, 5000)
	large.Jobs = 7
	require.Equal(t, small.Draw(4), large.Draw(4))
	healthy, two, troubled := 0, 0, 0
	for i := range 5000 {
		switch d := large.Draw(i); len(d.Faults) {
		case 0:
			healthy++
			if d.Trouble.Name != "" {
				troubled++
			}
		case 2:
			two++
		}
	}
	require.InDelta(t, 5000*campaign.UsualHealthy, healthy-troubled, 150, "4.3 standard deviations")
	require.InDelta(t, 5000*campaign.UsualTrouble, troubled, 66, "4.3 standard deviations")
	require.InDelta(t, 5000*campaign.UsualSeveral, two, 110, "now and then the same fault is drawn twice")
}

// Healthy units: all pass, all are good, and what was measured is near the truth: a truth that were
// worked out from the measurement, or by another definition, would be told here.
func TestPerform_HealthyIsGood(t *testing.T) {
	c := shipped(t, 1)
	for seed := range uint64(2) {
		u, res, err := c.Perform(context.Background(), campaign.Draw{Number: int(seed), Seed: seed})
		require.NoError(t, err)
		require.Equal(t, judge.Pass, u.Verdict)
		require.True(t, u.Good, u.Broken)
		require.Len(t, u.Values, len(res.Lines))
		for _, v := range u.Values {
			if v.Name == "fault_codes" {
				continue
			}
			require.True(t, v.Known && v.Measured, v.Name)
			near := 6*v.U + 0.025*math.Abs(v.Truth)
			if v.Name == "overshoot" {
				near += 1.3 // %: half a pulsation of 0.16 bar over a step of 6.5 bar
			}
			require.LessOrEqual(t, math.Abs(v.Value-v.Truth), near, "seed %d: %+v", seed, v)
		}
	}
}

// Known faults are bad units by the limit that they break.
func TestPerform_FaultyIsBad(t *testing.T) {
	c := shipped(t, 1)
	for fault, broken := range map[string]string{"membrane-split": "leak_rate", "return-fouled": "hold_drive",
		"sensor-offset": "sensor_zero", "doser-drip": "doser_leak",
		"return-valve-coil": "changeover_time"} {
		d := campaign.Draw{Seed: 3, Faults: map[string]float64{fault: 0.75}}
		u, _, err := c.Perform(context.Background(), d)
		require.NoError(t, err)
		require.False(t, u.Good, fault)
		var names []string
		for _, v := range u.Values {
			if !v.Kept {
				names = append(names, v.Name)
			}
		}
		require.Contains(t, names, broken, fault)
	}
}

func TestRun_Refuses(t *testing.T) {
	c := shipped(t, 0)
	c.Jobs, c.Healthy, c.Faults = 0, 1.5, []string{"rust"}
	_, err := campaign.Run(context.Background(), c)
	for _, part := range []string{"0 units", "0 jobs", "1.5 healthy", `"rust"`} {
		require.ErrorContains(t, err, part)
	}
}

func TestRun_Stops(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	c := shipped(t, 500)
	c.Progress = func(done, _ int) {
		if done == 2 {
			stop()
		}
	}
	_, err := campaign.Run(ctx, c)
	require.ErrorIs(t, err, context.Canceled)
}

// BenchmarkUnit is one unit from drawing to verdict.
func BenchmarkUnit(b *testing.B) {
	c := shipped(b, 1)
	for b.Loop() {
		if _, _, err := c.Perform(context.Background(), c.Draw(3)); err != nil {
			b.Fatal(err)
		}
	}
}

// Only what was asked for is drawn: faults, one named three times three times as often, their severities, and
// problems of the bench.
func TestDraw_Chosen(t *testing.T) {
	c := shipped(t, 4000)
	c.Healthy, c.Several, c.Trouble = 0, 0, 0.25
	c.Faults = []string{"sensor-gain", "pump-worn", "pump-worn", "pump-worn"}
	c.Troubles, c.Lightest, c.Heaviest = []string{"bus-off"}, 0.05, 0.35
	require.NoError(t, c.Check())
	drawn := map[string]int{}
	for i := range c.Units {
		d := c.Draw(i)
		drawn[d.Trouble.Name+d.Single()]++
		for _, severity := range d.Faults {
			require.True(t, severity >= 0.05 && severity <= 0.35, "%g", severity)
		}
	}
	require.Len(t, drawn, 3)
	require.InDelta(t, 1000, drawn["bus-off"], 118, "4.3 standard deviations")
	require.InDelta(t, 750, drawn["sensor-gain"], 107)
	require.InDelta(t, 2250, drawn["pump-worn"], 137)
}

// What cannot be drawn is named with what was meant.
func TestCheck_NamesWhatWasMeant(t *testing.T) {
	c := shipped(t, 1)
	c.Faults, c.Troubles, c.Lightest, c.Heaviest = []string{"pump-warn"}, []string{"buss-off", "unit-silent"}, 0.5, 0.2
	err := c.Check()
	for _, part := range []string{`no fault is named "pump-warn": did you mean pump-worn?`,
		`no problem of the bench is named "buss-off": did you mean bus-off?`, `"unit-silent"`, "severities 0.5 to 0.2"} {
		require.ErrorContains(t, err, part)
	}
}
