package scenariofile_test

import (
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/scenario"
	"holdfast/bench/scenario/scenariofile"
	"holdfast/bench/yamltext"
)

func eyesText(t testing.TB) string {
	t.Helper()
	text, err := os.ReadFile(shipped + "release-with-eyes.yaml")
	require.NoError(t, err)
	return string(text)
}

func eyes(t testing.TB) *scenario.Plan {
	t.Helper()
	p, err := scenariofile.Parse("s.yaml", []byte(eyesText(t)))
	require.NoError(t, err)
	return p
}

// The variant with a person's eyes does what the release test does, and judges it by the same limits.
func TestReleaseWithEyes_IsRelease(t *testing.T) {
	release, err := scenariofile.Parse("s.yaml", []byte(shippedText(t)))
	require.NoError(t, err)
	p := eyes(t)
	place := func(s scenario.Step) scenario.Step { s.Line, s.Column = 0, 0; return s }
	var moving []scenario.Step
	for _, s := range p.Steps {
		if s.Kind != scenario.Ask {
			moving = append(moving, place(s))
		}
	}
	require.Len(t, moving, len(release.Steps))
	for i, s := range release.Steps {
		require.Equal(t, place(s), moving[i], "copy it from release.yaml")
	}
	has := map[string]scenario.Limit{}
	for _, l := range p.Limits {
		l.Line, l.Column = 0, 0
		has[l.Characteristic+l.At] = l
	}
	for _, l := range release.Limits {
		l.Line, l.Column = 0, 0
		require.Equal(t, l, has[l.Characteristic+l.At], "copy it from release.yaml")
	}
	require.Len(t, p.Limits, len(release.Limits)+len(p.Questions()))
}

func TestParse_Ask(t *testing.T) {
	p := eyes(t)
	q := p.Asked("insulation_resistance")
	require.Equal(t, "Mohm", q.Unit)
	require.Nil(t, q.Choices)
	require.InDelta(t, 0.1, q.Accuracy.Absolute, 1e-12, "in the unit of the reading")
	require.InDelta(t, 1.85, q.Accuracy.At(35), 1e-12)
	require.Equal(t, scenario.LeaveUndecided, q.Unattended)
	require.Equal(t, []string{"no", "yes"}, p.Asked("external_leak").Choices)
	require.Equal(t, scenario.Skip, p.Asked("crystals").Unattended)
	require.Nil(t, p.Asked("leak_rate"))
	for _, l := range p.Limits {
		switch l.Characteristic {
		case "external_leak", "crystals":
			require.Equal(t, []float64{0, 0}, []float64{*l.Lower, *l.Upper}, "no and none come first")
		case "torque_done":
			require.Equal(t, []float64{1, 1}, []float64{*l.Lower, *l.Upper}, "yes comes second")
		case "insulation_resistance":
			require.Equal(t, 1.0, *l.Lower, "1 Mohm in Mohm, not in ohm")
		}
	}
	require.Equal(t, 5*time.Minute, p.Steps[0].Timeout, "not written")
	require.Equal(t, "ask external_leak", p.Steps[8].Name)
}

// One mistake in an ask step is one problem.
func TestParse_AskMistakes(t *testing.T) {
	text := eyesText(t)
	for _, c := range []struct{ old, with, want string }{
		{"      unattended: skip  ", "      # ", "ask without unattended; write unattended: undecided or skip"},
		{"unattended: skip  ", "unattended: pass  ", `unattended: "pass"; known here: undecided, skip`},
		{"timeout: 3 min", "timeout: 0 s", "timeout: 0 s; it must be above 0"},
		{"as: crystals", "as: Crystals", `as: "Crystals"; write small letters`},
		{"as: crystals", "as: leak_rate", "as: leak_rate; the bench measures that itself"},
		{"as: crystals", "as: torque_done", "as: torque_done for the second time"},
		{"expect: none", "expect: some", `expect: "some"; known here: none, few, many`},
		{"expect: none", "expect: [none, many]", "answers that do not stand beside each other"},
		{"choices: [none, few, many]", "choices: [none]", "1 choices; write 2 to 20"},
		{"choices: [none, few, many]", "choices: [none, ?, many]", "it is always possible"},
		{"choices: [none, few, many]", "choices: [none, few, Few]", `"Few" for the second time`},
		{"      unit: Mohm\n", "      unit: Mohn\n", `unit: "Mohn"`},
		{"      unit: Mohm\n", "      unit: bar\n", "is a unit of resistance"},
		{"accuracy: {of_reading: 5 %, absolute: 0.1 Mohm}", "accuracy: {}", "no meter is perfect"},
		{"meter: insulation tester", "expect: no", "expect with a reading"},
		{"at: 9 bar                   # held", "at: 12 bar  # held", "stay below max_pressure"},
		{"insulation_resistance: {min: 1 Mohm}", "insulation_resistance: {min: 1 bar}", "resistance is wanted here"},
		{"insulation_resistance: {min: 1 Mohm}", "crystals: {max: 0 codes}", "say which answers keep it by expect"},
	} {
		require.Contains(t, text, c.old)
		problems := problemsIn(t, strings.Replace(text, c.old, c.with, 1))
		require.ErrorContains(t, problems, c.want, c.with)
		require.Positive(t, problems[0].Line)
	}
}

// A question that holds pressure stands where a hold may; one at rest lets the pressure go.
func TestParse_AskOrder(t *testing.T) {
	text := eyesText(t)
	early := strings.Replace(text, "      as: torque_done\n", "      as: torque_done\n      at: 9 bar\n", 1)
	require.ErrorContains(t, problemsIn(t, early), "hold before the line is pressurised")
	const shutIn = "  - compliance: {"
	question := "  - ask: {question: Quiet?, as: quiet, unattended: skip}\n"
	idle := strings.Replace(text, shutIn, question+shutIn, 1)
	require.ErrorContains(t, problemsIn(t, idle), "compliance without regulated pressure just before")
	held := strings.Replace(idle, "as: quiet,", "as: quiet, at: 9 bar,", 1)
	_, err := scenariofile.Parse("s.yaml", []byte(held))
	require.NoError(t, err)
}

func TestQuestion_Value(t *testing.T) {
	p := eyes(t)
	reading, leak, crystals := p.Asked("insulation_resistance"), p.Asked("external_leak"), p.Asked("crystals")
	for _, c := range []struct {
		q     *scenario.Question
		typed string
		want  scenario.Value
	}{
		{reading, "35 Mohm", scenario.Value{Number: 35, Resolution: 1}},
		{reading, " 35.20 MΩ ", scenario.Value{Number: 35.2, Resolution: 0.01}},
		{reading, "800 kohm", scenario.Value{Number: 0.8, Resolution: 0.001}},
		{reading, "2e1 Mohm", scenario.Value{Number: 20, Resolution: 10}},
		{reading, "> 200 Mohm", scenario.Value{Number: 200, Resolution: 1, AtLeast: true}},
		{leak, "no", scenario.Value{Number: 0, Word: "no"}},
		{leak, "Y", scenario.Value{Number: 1, Word: "yes"}},
		{crystals, "FEW", scenario.Value{Number: 1, Word: "few"}},
	} {
		got, err := c.q.Value(c.typed)
		require.NoError(t, err, c.typed)
		require.InDelta(t, c.want.Number, got.Number, 1e-12, c.typed)
		require.InDelta(t, c.want.Resolution, got.Resolution, 1e-15, c.typed)
		require.Equal(t, c.want.AtLeast, got.AtLeast)
		require.Equal(t, c.want.Word, got.Word)
	}
	for _, bad := range []struct {
		q     *scenario.Question
		typed string
	}{{reading, "35"}, {reading, "35 bar"}, {reading, ""}, {reading, "< 1 Mohm"}, {reading, "many"}, {leak, ""},
		{leak, "maybe"}, {leak, "nono"}, {crystals, strings.Repeat("x", 300)}, {reading, "NaN Mohm"}} {
		_, err := bad.q.Value(bad.typed)
		require.Error(t, err, bad.typed)
	}
}

func TestReadAnswers_Mistakes(t *testing.T) {
	p := eyes(t)
	_, err := scenariofile.ReadAnswers("a.yaml", []byte("holdfast: answers/1\nanswers:\n  external_leek: no\n"+
		"  crystals: lots\n  insulation_resistance: 35\n  torque_done: {}\nextra: 1\n"), p)
	var problems yamltext.Problems
	require.ErrorAs(t, err, &problems)
	require.Len(t, problems, 5, "all at once: %v", problems)
	for i, want := range []string{"a.yaml:3:3: nothing asks for \"external_leek\"; did you mean external_leak?",
		"a.yaml:4:13: crystals: \"lots\" is no answer", "a.yaml:5:26: insulation_resistance: 35: which unit?",
		"a.yaml:6:16: torque_done without an answer", "a.yaml:7:1: a file of answers has no key"} {
		require.Contains(t, problems[i].Error(), want)
	}
	release, err := scenariofile.Parse("s.yaml", []byte(shippedText(t)))
	require.NoError(t, err)
	_, err = scenariofile.ReadAnswers("a.yaml", []byte("holdfast: answers/1\nanswers: {external_leak: no}\n"), release)
	require.ErrorContains(t, err, "scenario release asks nothing")
}

// Whatever stands in a file of answers or is typed: an answer is one of the choices or a finite number.
func FuzzReadAnswers(f *testing.F) {
	p := eyes(f)
	for _, text := range []string{"holdfast: answers/1\nanswers:\n  external_leak: no\n  insulation_resistance: 35 Mohm\n",
		"holdfast: answers/1\nanswers: {crystals: ?, insulation_resistance: > 2e2 kohm}\n", "answers: [1]\n", "{}"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		answers, err := scenariofile.ReadAnswers("a.yaml", []byte(text), p)
		if err != nil {
			return
		}
		for name, a := range answers {
			q := p.Asked(name)
			require.NotNil(t, q)
			if a == scenario.CannotTellWord {
				continue
			}
			v, err := q.Value(a)
			require.NoError(t, err)
			require.False(t, v.Number != v.Number || v.Number-v.Number != 0, "%q is no finite number", a)
			require.False(t, v.Resolution < 0 || v.Resolution-v.Resolution != 0, a)
			require.True(t, q.Choices == nil || v.Number >= 0 && int(v.Number) < len(q.Choices))
		}
	})
}
