package main

import (
	"encoding/json"
	"fmt"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/cmd/holdfast/campaign"
)

// worldTables are the campaigns of the tables of evidence, by the name of the table.
var worldTables = map[string][]string{
	"own-bench-node":        {"release", "--rig", "bench-node", "--world", "own", "--bench-problems", "0"},
	"own-unit-controller":   {"release-controller", "--rig", "unit-controller", "--world", "own", "--bench-problems", "0"},
	"other-bench-node":      {"release", "--rig", "bench-node", "--world", "other"},
	"other-unit-controller": {"release-controller", "--rig", "unit-controller", "--world", "other"},
}

// worldTested is what a campaign's JSON says, as far as the tables go.
type worldTested struct {
	Units    int
	Verdicts campaign.Verdicts
	Coverage []campaign.Coverage
	Causes   []campaign.Named
	Adopted  []campaign.Bin `json:"stated_with_own_frequencies"`
	Compared campaign.Compared
}

// TestWorlds makes one table of evidence: HOLDFAST_WORLD names it, HOLDFAST_UNITS how many units, HOLDFAST_SEED the seed.
// The figures are what is the case; a bar is what a shop needs.
func TestWorlds(t *testing.T) {
	name := os.Getenv("HOLDFAST_WORLD")
	if name == "" {
		t.Skip("HOLDFAST_WORLD names a table of evidence to be made")
	}
	args, known := worldTables[name]
	require.True(t, known, name)
	units, seed := os.Getenv("HOLDFAST_UNITS"), os.Getenv("HOLDFAST_SEED")
	require.NotEmpty(t, units)
	require.NotEmpty(t, seed)
	args = append([]string{"campaign"}, args...)
	args = append(args, "--units", units, "--seed", seed, "--lying", "0.5", "--json")
	if name[:5] == campaign.WorldOther {
		args = append(args, "--bus", startLockstep(t, otherWorld(t)))
	}
	s := worldTest(t, args)
	worldVerdicts(t, &s)
	worldCoverage(t, &s)
	worldCauses(t, &s)
	worldLies(t, &s.Compared)
	if name[:5] == campaign.WorldOther {
		shows(t, "repeats", "this world cannot test a unit again on another day", "2 s at most U", false)
		return
	}
	again := append(args, "--units", "2", "--healthy", "1", "--several", "0", "--lying", "0", "--repeats", "5")
	worldRepeats(t, worldTest(t, again).Compared.Repeats)
}

func worldTest(t *testing.T, args []string) (s worldTested) {
	t.Helper()
	status, out, errOut := holdfast(args...)
	require.Equal(t, exitDone, status, errOut)
	require.NoError(t, json.Unmarshal([]byte(out), &s))
	return s
}

func worldVerdicts(t *testing.T, s *worldTested) {
	v := s.Verdicts
	good := v.Good.Pass + v.Good.Fail + v.Good.Undecided + v.Good.Tripped + v.Good.Other
	bad := v.Bad.Pass + v.Bad.Fail + v.Bad.Undecided + v.Bad.Tripped + v.Bad.Other
	said := func(x campaign.Said) string {
		return fmt.Sprintf("pass %d, fail %d, undecided %d, tripped %d, other %d", x.Pass, x.Fail, x.Undecided, x.Tripped, x.Other)
	}
	shows(t, "tests", fmt.Sprint(s.Units), "none", true)
	shows(t, fmt.Sprintf("said of %d that keep every limit", good), said(v.Good), "none", true)
	shows(t, fmt.Sprintf("said of %d with a limit broken", bad), said(v.Bad), "none", true)
	shows(t, "wrong passes", fmt.Sprint(v.WrongPass), "0", v.WrongPass == 0)
	shows(t, "wrong fails", fmt.Sprint(v.WrongFails), "0", v.WrongFails == 0)
	shows(t, "past a limit by 2 U or more and passed", fmt.Sprint(v.FarPassed), "0", v.FarPassed == 0)
	shows(t, "highest true pressure, honest bench", fmt.Sprintf("%.2f bar", s.Compared.Highest), "at most 12 bar",
		s.Compared.Highest <= 12)
}

func worldCoverage(t *testing.T, s *worldTested) {
	for _, c := range s.Coverage {
		what := "covered: " + c.Name
		if c.At != "" {
			what += " at " + c.At
		}
		shows(t, what, fmt.Sprintf("%.1f %% of %d, rms error %.2f u", 100*c.Covered, c.Units, c.RMS), "at least 93 %",
			c.Covered >= 0.93)
	}
	for _, u := range s.Compared.Unjudged {
		shows(t, "true value not known: "+u.Name, fmt.Sprintf("%d tests", u.N), "none", true)
	}
}

func worldCauses(t *testing.T, s *worldTested) {
	first, failing := 0, 0
	for _, c := range s.Causes {
		if c.Fault != "healthy" {
			first, failing = first+c.First, failing+c.NotPass
		}
	}
	shows(t, "single faults named first, of those that failed", fmt.Sprintf("%d of %d", first, failing), "at least 95 %",
		float64(first) >= 0.95*float64(failing))
	for _, row := range []struct {
		name string
		campaign.Scores
	}{{"as stated", s.Compared.Scores}, {"own frequencies adopted", s.Compared.Adopted}} {
		shows(t, "Brier score, "+row.name, fmt.Sprintf("%.3f ± %.3f of %d", row.Brier, row.BrierU, row.Units), "none", true)
		shows(t, "log score, "+row.name, fmt.Sprintf("%.3f ± %.3f nats, %d stated as impossible", row.Log, row.LogU, row.Never),
			"none", true)
	}
	for _, b := range s.Adopted {
		shows(t, fmt.Sprintf("stated %g to %g %%, own frequencies adopted", 100*b.From, 100*b.To),
			fmt.Sprintf("mean %.1f %%, right %.1f %% of %d (%.1f .. %.1f)", 100*b.Mean, 100*b.Right, b.Units, 100*b.Low, 100*b.High),
			"mean inside the interval", b.Agrees())
	}
}

func worldLies(t *testing.T, c *campaign.Compared) {
	for _, l := range c.Lies {
		shows(t, "one instrument lies: "+l.Kind, fmt.Sprintf("of %d: passed %d, undecided %d, instrument named %d, "+
			"bench blamed %d, unit blamed %d, no cause %d", l.Units, l.Passed, l.Open, l.Named, l.Bench, l.Unit, l.Other),
			"no unit blamed", l.Unit+l.Other == 0)
	}
	shows(t, "bad units passed where an instrument lies", fmt.Sprint(c.LyingBad), "0", c.LyingBad == 0)
	shows(t, "highest true pressure where an instrument lies", fmt.Sprintf("%.2f bar (%s)", c.LyingHighest, c.LyingWith),
		"at most 16 bar", c.LyingHighest <= 16)
}

func worldRepeats(t *testing.T, all []campaign.Repeated) {
	for _, r := range all {
		shows(t, "repeats: "+r.Name, fmt.Sprintf("2 s / U %.2f, beyond U %d of %d", r.Ratio, r.Outside, r.Tests), "2 s at most U",
			r.Ratio <= 1)
	}
}
