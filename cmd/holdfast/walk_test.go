package main

import (
	"context"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/bench/grade"
	"holdfast/bench/judge"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/bench/session"
	"holdfast/cmd/holdfast/simbench"
	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/sim"
)

// The walk of DEVELOPERS.md: one frame of one run, from the bus to the verdict.
const (
	walkFile  = "DEVELOPERS.md"
	walkBegin = "<!-- walk: written by go test ./cmd/holdfast -run TestWalk -update -->\n```text\n"
	walkEnd   = "```\n<!-- end of walk -->"
	walkAt    = 15 * time.Second // after the hold began: in the middle of it
	walkFrame = 0x0CFF11C8       // BenchHydraulics of bench-node.dbc, sent by the node
)

// eavesdropper keeps the frames of the walk's kind, and with each the command that was sent next.
type eavesdropper struct {
	can.Port
	heard  []can.Frame
	spoken []einride.Frame
}

func (e *eavesdropper) Receive(dst []can.Frame, until clock.Instant) (int, error) {
	n, err := e.Port.Receive(dst, until)
	for _, f := range dst[:n] {
		if f.ID == walkFrame {
			e.heard = append(e.heard, f)
		}
	}
	return n, err
}

func (e *eavesdropper) Send(f einride.Frame) error {
	for len(e.spoken) < len(e.heard) {
		e.spoken = append(e.spoken, f)
	}
	return e.Port.Send(f)
}

// TestWalk makes the run of the walk and holds every number of the example against it.
func TestWalk(t *testing.T) {
	p, r := setup(t, "release", "bench-node")
	bench, err := simbench.New(r, sim.Options{Seed: 1})
	require.NoError(t, err)
	bus := simbench.NewBus()
	bus.Attach(bench)
	ear := &eavesdropper{Port: bus.Open("harness")}
	id := simbench.Identity("walk", "WALK", p, r, 1, nil)
	rec, err := session.InMemory(context.Background(), id, p, r, ear, nil)
	require.NoError(t, err)
	want := walked(t, ear, rec, judge.Judge(id, rec, r, p))

	text, err := os.ReadFile(filepath.Join(repoRoot, walkFile))
	require.NoError(t, err)
	head, rest, ok := strings.Cut(string(text), walkBegin)
	require.True(t, ok)
	got, tail, ok := strings.Cut(rest, walkEnd)
	require.True(t, ok)
	if *sixtyUpdate {
		whole := []byte(head + walkBegin + want + walkEnd + tail)
		require.NoError(t, os.WriteFile(filepath.Join(repoRoot, walkFile), whole, 0o644))
		return
	}
	require.Equal(t, want, got, "a number of the example has changed: go test ./cmd/holdfast -run TestWalk -update")
}

// walked is the example: what becomes of the frame at each station.
func walked(t *testing.T, ear *eavesdropper, rec *samples.Recording, res *judge.Result) string {
	var b strings.Builder
	say := func(station, format string, args ...any) {
		fmt.Fprintf(&b, "%-15s %s\n", station, fmt.Sprintf(format, args...))
	}
	hold := rec.Steps[slices.IndexFunc(rec.Steps, func(s samples.StepRun) bool { return s.Kind == scenario.Hold })]
	n := slices.IndexFunc(ear.heard, func(f can.Frame) bool { return f.Time >= hold.Start.Add(walkAt) })
	f, spoken := ear.heard[n], ear.spoken[n]
	raw := f.Data.UnsignedBitsLittleEndian(16, 16)
	say("frame", "%.3f s after the start: %08X#%X", f.Time.Seconds(simbench.Epoch), f.ID, f.Data[:f.Length])
	say("signal", "BenchHydraulics.ReferencePressure, bits 16 to 31: %d x 0.05 kPa = %.2f kPa absolute", raw,
		float64(raw)*0.05)
	ref := &rec.Channels[rig.ReferencePressure]
	i := slices.Index(ref.T, f.Time)
	require.GreaterOrEqual(t, i, 0, "the reading is in the record")
	say("reading", "reference_pressure %.4f bar gauge: less the barometer's %.4f bar", ref.V[i], float64(raw)*0.0005-ref.V[i])
	drive := float64(spoken.Data.UnsignedBitsLittleEndian(0, 16)) / 100
	say("command", "%08X#%X: pump_drive %.2f %%", spoken.ID, spoken.Data[:], drive)
	held := func(l judge.Line) bool { return l.Name == "regulated_pressure" }
	l := res.Lines[slices.IndexFunc(res.Lines, held)]
	require.True(t, l.From <= f.Time && f.Time <= l.To)
	say("samples", "one of %d readings of the hold, from %.1f to %.1f s", l.N, l.From.Seconds(simbench.Epoch),
		l.To.Seconds(simbench.Epoch))
	say("characteristic", "regulated_pressure %.4f bar, U %.4f bar, most of it by %s", l.Value, l.U, l.Budget[0].Source)
	from, to := grade.PassRange(l.U, l.Limit, res.Rule, 0)
	say("limit", "%g to %g bar, guarded by U: %.4f to %.4f bar pass", *l.Limit.Lower, *l.Limit.Upper, from, to)
	say("verdict", "%s, with %d other limits: the run is a %s", l.Verdict, len(res.Plan.Limits)-1, res.Verdict)
	say("cause", "%s, %.3f", res.Causes[0].Name, res.Causes[0].Probability)
	return b.String()
}

// The walk names files and functions: each is where it says.
func TestWalk_NamesWhatIsThere(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(repoRoot, walkFile))
	require.NoError(t, err)
	_, walk, ok := strings.Cut(string(text), "## One frame, from the bus to the verdict")
	require.True(t, ok)
	walk, _, _ = strings.Cut(walk, "\n## ")
	stations := regexp.MustCompile("`([a-z0-9/_]+\\.go)` ((?:`[A-Za-z.]+`(?:, )?)+)").FindAllStringSubmatch(walk, -1)
	require.Greater(t, len(stations), 10)
	for _, s := range stations {
		there := functionsOf(t, s[1])
		for _, name := range regexp.MustCompile("[A-Za-z.]+").FindAllString(s[2], -1) {
			require.Contains(t, there, name, "%s of the walk in %s", s[1], walkFile)
		}
	}
}

// functionsOf names the functions of a file, methods as Type.Method.
func functionsOf(t *testing.T, path string) []string {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), filepath.Join(repoRoot, path), nil, 0)
	require.NoError(t, err)
	var names []string
	for _, d := range file.Decls {
		f, ok := d.(*ast.FuncDecl)
		if !ok {
			continue
		}
		name := f.Name.Name
		if f.Recv != nil {
			receiver := f.Recv.List[0].Type
			if star, ok := receiver.(*ast.StarExpr); ok {
				receiver = star.X
			}
			name = receiver.(*ast.Ident).Name + "." + name
		}
		names = append(names, name)
	}
	return names
}
