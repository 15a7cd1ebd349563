package console

import (
	"bytes"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/engine"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// Times are written as people read them, not as a program does.
func TestDuration(t *testing.T) {
	for d, says := range map[time.Duration]string{10 * time.Millisecond: "10 ms", 750 * time.Millisecond: "750 ms",
		10750 * time.Millisecond: "10.75 s", time.Minute: "1 min", 455750 * time.Millisecond: "7 min 36 s",
		59999 * time.Millisecond: "60 s", time.Hour: "60 min"} {
		require.Equal(t, says, Duration(d))
	}
}

// The live line never wraps: with it every redraw would push the screen up.
func TestProgress_OneLine(t *testing.T) {
	var out bytes.Buffer
	p := NewProgress(&out, true, 80, &scenario.Plan{Steps: make([]scenario.Step, 20)})
	p.Show(engine.Progress{Name: "ask insulation_resistance", Pressure: -0.001, Known: true, Drive: math.NaN(),
		Left: 1198 * time.Second})
	text := strings.NewReplacer("\x1b7\x1b[1A\r\x1b[K", "", "\x1b8", "").Replace(out.String())
	require.Len(t, text, 79)
	require.Regexp(t, `^19 min 58 s left  step  1/20  ask insulation_resistance +0\.0 s   0\.00 bar`, text)
}

// Why a run was tripped is said when it happens, and once.
func TestProgress_Trip(t *testing.T) {
	var out bytes.Buffer
	p := NewProgress(&out, false, 80, &scenario.Plan{Steps: make([]scenario.Step, 20)})
	trip := &samples.Trip{Name: "bench-silent", Reading: "nothing", Limit: "200 ms", Next: "read the gauge"}
	p.Show(engine.Progress{Name: "relieving the line unseen", Trip: trip})
	require.Contains(t, out.String(), "TRIP bench-silent: nothing, limit 200 ms. Next: read the gauge.")
	p.LastWord(engine.Outcome{Trip: trip, Unseen: 30 * time.Second,
		Last: engine.Heard{Pressure: 8.93, Ago: 30 * time.Second, Known: true}})
	require.Equal(t, 1, strings.Count(out.String(), "TRIP"))
	said := strings.ReplaceAll(out.String(), "\n", " ")
	require.Contains(t, said, "the last one was 8.93 bar gauge, 30.0 s ago")
	require.Contains(t, said, "whether it heard that is not known. Read the gauge on the line.")
}

// What a person types before the question is shown is no answer; a wrong word is answered with what would
// do.
func TestAsker_Person(t *testing.T) {
	in, typed := io.Pipe()
	var out bytes.Buffer
	a := NewAsker(map[string]string{"known": "yes"}, in, &out, 100)
	q := &scenario.Question{Name: "leak", Text: "Drip?\x1b[2J", Choices: []string{"no", "yes"}}
	known := &scenario.Question{Name: "known", Text: "Known?", Choices: []string{"no", "yes"}}

	a.Ask(known)
	got, ok := a.Answer()
	require.True(t, ok)
	require.Equal(t, samples.Answer{State: scenario.Given, Text: "yes", From: "answers file"}, got)
	require.Zero(t, out.Len(), "what the file answers is not asked")

	a.Ask(q)
	_, ok = a.Answer()
	require.False(t, ok, "nothing typed yet")
	_, err := typed.Write([]byte("perhaps\n" + strings.Repeat("x", 9000) + "\n ? \n"))
	require.NoError(t, err)
	require.Eventually(t, func() bool { got, ok = a.Answer(); return ok }, 10*time.Second, time.Millisecond)
	require.Equal(t, scenario.CannotTell, got.State)
	require.Contains(t, out.String(), `"perhaps" is no answer; type no, yes, or ? when you cannot tell`)
	require.NotContains(t, out.String(), "\x1b[2J", "a scenario does not steer the terminal")
	a.Withdraw()

	_, err = typed.Write([]byte("yes\n")) // to no question
	require.NoError(t, err)
	require.Eventually(t, func() bool { return len(a.lines) == 1 }, 10*time.Second, time.Millisecond)
	a.Ask(q)
	_, ok = a.Answer()
	require.False(t, ok, "typed before the question was put")
	require.NoError(t, typed.Close())
	require.Eventually(t, func() bool { got, ok = a.Answer(); return ok }, 10*time.Second, time.Millisecond)
	require.Equal(t, scenario.NoAnswer, got.State, "nobody can answer any more")
}
