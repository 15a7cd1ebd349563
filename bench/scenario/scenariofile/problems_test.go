package scenariofile_test

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/control"
	"holdfast/bench/scenario"
	"holdfast/bench/scenario/scenariofile"
	"holdfast/bench/yamltext"
)

func problemsIn(t testing.TB, text string) yamltext.Problems {
	t.Helper()
	_, err := scenariofile.Parse("s.yaml", []byte(text))
	var problems yamltext.Problems
	require.ErrorAs(t, err, &problems, text)
	return problems
}

func shippedText(t testing.TB) string {
	t.Helper()
	text, err := os.ReadFile(shipped + "release.yaml")
	require.NoError(t, err)
	return string(text)
}

// Each case is one mistake in an otherwise good file: exactly one problem answers it.
func TestParse_OneMistake(t *testing.T) {
	text := shippedText(t)
	for _, c := range []struct{ old, with, want string }{
		{"decision_rule: guarded  ", "# ", "a scenario without decision_rule; write decision_rule: simple or guarded or shared_risk"},
		{"decision_rule: guarded  ", "decision_rule: gaurded  ", `decision_rule: "gaurded"; did you mean guarded?`},
		{"decision_rule: guarded  ", "decision_rule: shared_risk  ", "a scenario without max_risk; write max_risk: 5 %"},
		{"nominal: 9 bar", "nominal: 9 bar\nmax_risk: 5 %", "max_risk without decision_rule: shared_risk"},
		{"limits_from: shipped examples  ", "limits_from: memory  ", `limits_from: "memory"; known here: unit maker, shop, shipped examples`},
		{"nominal: 9 bar", "nominal: 900", "nominal: 900: which unit? write 900 bar"},
		{"max_pressure: 11.5 bar", "max_pressure: 8 bar", "max_pressure: 8 bar with nominal 9 bar; it must be above nominal"},
		{"{at: 9 bar, for: 30 s, settle: 5 s}", "{at: 9 bar, for: 30 s, settle: 30 s}", "settle: 30s of 30s; leave something to measure"},
		{"{at: 9 bar, for: 30 s, settle: 5 s}", "{at: 9 bar, fo: 30 s, settle: 5 s}", `hold has no key "fo"; did you mean for?`},
		{"{at: 9 bar, for: 30 s, settle: 5 s}", "{at: 9 bar, for: -30 s, settle: 5 s}", "for: -30 s; it must be above 0 and at most 3600 s"},
		{"{at: 9 bar, for: 30 s, settle: 5 s}", "{at: 9 bar, for: 2 h, settle: 5 s}", "for: 2 h; it must be above 0 and at most 3600 s"},
		{"{at: 9 bar, for: 30 s, settle: 5 s}", "{at: 12 bar, for: 30 s, settle: 5 s}", "hold at 12 bar; stay below max_pressure, 11.5 bar"},
		{"{at: 9 bar, for: 30 s, settle: 5 s}", "", "hold without its keys; write hold: {at: 9 bar, for: 30 s, settle: 5 s}"},
		{"{at: 9 bar, for: 30 s, settle: 5 s}", "30 s", `hold: "30 s"; write keys`},
		{"prime: {drive: 60 %", "prime: {drive: 160 %", "drive: 160 %; it must be 1 to 100 %"},
		{"stays: 0.5 s, timeout: 60 s", "stays: 60 s, timeout: 60 s", "stays: 1m0s with a timeout of 1m0s"},
		{"- leak-down:", "- leak_down:", `no step is called "leak_down"; did you mean leak-down?`},
		{"- leak-down:", "- name: x\n    compliance: {duty: 30 %, for: 2 s, settle: 3 s}\n    leak-down:", "compliance and leak-down in one step"},
		{"  - relieve: {below: 0.2 bar, stays: 8 s, timeout: 40 s}   # at rest again: what has drifted in the run?\n", "", "the plan ends in repressurise and leaves the line under pressure; end it with - relieve: {below: 0.2 bar"},
		{"relieve: {below: 0.2 bar, ", "relieve: {", "relieve without below; write below: 0.2 bar"},
		{"leak_rate: {max: 1.0 mL/min}", "leakrate: {max: 1.0 mL/min}", `no characteristic is called "leakrate"; did you mean leak_rate?`},
		{"leak_rate: {max: 1.0 mL/min}", "leak_rate: {max: 1.0 bar}", "bar is a unit of pressure; flow is wanted here"},
		{"leak_rate: {max: 1.0 mL/min}", "leak_rate: {}", "leak_rate without min and max"},
		{"leak_rate: {max: 1.0 mL/min}", "leak_rate: {max: 1.0 mL/min, min: 2 mL/min}", "leak_rate: min 2 above max 1 mL/min; swap them"},
		{"leak_rate: {max: 1.0 mL/min}", "leak_rate: {max: 1.0 mL/min, at: 20 %}", "at: for leak_rate; leave it out"},
		{"at: [20 %, 50 %, 80 %]", "at: [20 %, 50 %, 90 %]", "at: 90 % and no dose step has this duty; there are 80 %, 50 %, 20 %"},
		{"at: [20 %, 50 %, 80 %]", "at: [20 %, 50 %, 50 %]", "two limits for dosing_error 50 %; keep one"},
		{"{max: 0 codes, applies_to: controller}", "{max: 0, applies_to: controller}", "max: 0; write a whole number of codes"},
		{"{max: 0 codes, applies_to: controller}", "{max: 0 codes, applies_to: all}", "fault_codes exists only where the unit has a controller"},
		{"purge_time: {max: 45 s}", "purge_time: {max: 60 s}", "max: 60 s and the purge step lasts at most 1m0s; let the step last longer"},
		{"prime_time: {max: 30 s}", "prime_time: {max: 2 min}", "max: 120 s and the prime step lasts at most 1m0s"},
		{"  - electrics: {for: 4 s}\n", "", "needs the step electrics"},
	} {
		require.Equal(t, 1, strings.Count(text, c.old), "the shipped scenario has %q once", c.old)
		problems := problemsIn(t, strings.Replace(text, c.old, c.with, 1))
		if strings.HasPrefix(c.want, "needs") {
			require.Len(t, problems, 3, "coil, heater and wiring")
		} else {
			require.Len(t, problems, 1, "%s -> %s:\n%v", c.old, c.with, problems)
		}
		require.ErrorContains(t, problems, c.want)
		require.Positive(t, problems[0].Line)
	}
}

// The order of steps follows what stands in the line, whatever is measured.
func TestParse_Order(t *testing.T) {
	words := map[string]string{}
	for k := scenario.Vent; k <= scenario.Relieve; k++ {
		words[k.String()] = control.Example(k)
	}
	for steps, want := range map[string]string{
		"vent, electrics, prime, pressurise, hold, compliance, pressurise, leak-down, purge, repressurise, dose, relieve": "",
		"vent":                "",
		"pressurise, relieve": "",
		"purge, relieve":      "",
		"pressurise, relieve, electrics, relieve": "",
		"hold, relieve":        "hold before the line is pressurised; put a pressurise step before it",
		"prime, dose, relieve": "dose before the line is pressurised",
		"leak-down":            "leak-down without regulated pressure just before",
		"pressurise, leak-down, compliance, relieve": "compliance without regulated pressure just before",
		"pressurise, purge, hold, relieve":           "hold with a purged line; put a repressurise step before it",
		"pressurise, purge, pressurise, relieve":     "pressurise with a purged line; use repressurise",
		"prime, repressurise, relieve":               "repressurise without a purge before; use pressurise",
		"prime, electrics, relieve":                  "electrics with the line under pressure",
		"pressurise, vent, relieve":                  "vent with the line under pressure; use relieve",
		"pressurise":                                 "the plan ends in pressurise and leaves the line under pressure",
		"pressurise, relieve, prime":                 "the plan ends in prime and leaves the line under pressure",
	} {
		text := "holdfast: scenario/1\nname: x\ndecision_rule: simple\nlimits_from: shop\nnominal: 9 bar\nsteps:\n"
		for _, w := range strings.Split(steps, ", ") {
			require.Contains(t, words, w)
			text += "  - " + w + ": " + words[w] + "\n"
		}
		if want == "" {
			_, err := scenariofile.Parse("s.yaml", []byte(text))
			require.NoError(t, err, steps)
			continue
		}
		problems := problemsIn(t, text)
		require.Len(t, problems, 1, steps)
		require.ErrorContains(t, problems, want, steps)
	}
}

func TestParse_AllAtOnce(t *testing.T) {
	require.EqualError(t, problemsIn(t, strings.Join([]string{"holdfast: scenario/1", "name: x", "limits_from: shop", "nominal: 9 bar",
		"steps:", "  - hold: {at: 9, for: 30 s}", "  - prim: {}", "  - leak-down", "limits:", "  riple: {max: 1 bar}", "  leak_rate: {max: 1}"}, "\n")),
		strings.Join([]string{
			"s.yaml:1:1: a scenario without decision_rule; write decision_rule: simple or guarded or shared_risk",
			"s.yaml:6:16: at: 9: which unit? write 9 bar",
			`s.yaml:7:5: no step is called "prim"; did you mean prime?`,
			`s.yaml:8:5: step "leak-down"; write - leak-down: {for: 60 s, settle: 5 s}`,
			`s.yaml:10:3: no characteristic is called "riple"; did you mean ripple?`,
			"s.yaml:11:20: max: 1: which unit? write 1 mL/min",
		}, "\n"))
}

func TestParse_SharedRisk(t *testing.T) {
	p, err := scenariofile.Parse("s.yaml", []byte(strings.Replace(shippedText(t), "decision_rule: guarded", "max_risk: 5 %\ndecision_rule: shared_risk", 1)))
	require.NoError(t, err)
	require.Equal(t, scenario.SharedRisk, p.Rule)
	require.InDelta(t, 0.05, p.MaxRisk, 1e-15)
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(shippedText(f)))
	f.Add([]byte(eyesText(f)))
	f.Add([]byte("holdfast: scenario/1\nname: x\ndecision_rule: simple\nlimits_from: shop\nnominal: 9 bar\nsteps: [{vent: {for: 6 s}}]\nlimits: {ripple: {max: 1 bar}}\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := scenariofile.Parse("s.yaml", text)
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		require.NotEqual(t, scenario.NoRule, p.Rule)
		require.NotEmpty(t, p.Steps)
		require.Positive(t, p.Longest())
		under := false
		for _, s := range p.Steps {
			require.Positive(t, s.Longest())
			under = (under || s.Pressurises()) && s.Kind != scenario.Relieve
		}
		require.False(t, under, "a plan never leaves the line under pressure")
		for _, l := range p.Limits {
			require.True(t, l.Lower != nil || l.Upper != nil)
		}
	})
}
