package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/cpu"

	"holdfast/bench/engine"
	"holdfast/bench/journal"
	"holdfast/bench/judge"
	"holdfast/bench/rig"
	"holdfast/bench/rig/rigfile"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/bench/scenario/scenariofile"
	"holdfast/cmd/holdfast/simbench"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/clock"
	"holdfast/scenarios"
	"holdfast/sim"
)

// sixtyFile holds what the sixty runs come to; sixtyUpdate writes it anew.
const sixtyFile = "testdata/sixty.tsv"

var sixtyUpdate = flag.Bool("update", false, "write "+sixtyFile+" anew instead of comparing with it")

// sixtyRun is one of sixty runs that nobody changes by accident.
type sixtyRun struct {
	scenario, rig string
	seed          uint64
	fault         string // "" of a healthy unit
	severity      float64
}

func (s sixtyRun) String() string {
	if s.fault == "" {
		return fmt.Sprintf("%s/healthy/seed %d", s.scenario, s.seed)
	}
	return fmt.Sprintf("%s/%s=%g/seed %d", s.scenario, s.fault, s.severity, s.seed)
}

// sixtyRuns returns every fault on the shipped bench, those that a unit with its own controller can show on
// its rig, healthy units on both, and the other shipped scenarios.
func sixtyRuns() []sixtyRun {
	// What a unit's own controller hides from the bench: its coil, heater and supply are not measured there.
	hidden := []string{"return-valve-coil", "heater-open", "heater-protection", "supply-resistance",
		"motor-worn", "return-check-leak", "return-valve-reverse"}
	severities := map[string]float64{"suction-air": 0.3, "inlet-valve-leak": 0.25, "filter-blocked": 0.9,
		"motor-worn": 0.9}
	var runs []sixtyRun
	for i, fault := range sim.FaultNames() {
		severity := severities[fault]
		if severity == 0 {
			severity = 0.6
		}
		runs = append(runs, sixtyRun{"release", "bench-node", 100 + uint64(i), fault, severity})
		if !slices.Contains(hidden, fault) {
			runs = append(runs, sixtyRun{"release-controller", "unit-controller", 200 + uint64(i), fault, severity})
		}
	}
	for seed := range uint64(3) {
		runs = append(runs, sixtyRun{"release", "bench-node", 1 + seed, "", 0},
			sixtyRun{"release-controller", "unit-controller", 11 + seed, "", 0})
	}
	return append(runs, sixtyRun{"release-with-eyes", "bench-node", 21, "", 0},
		sixtyRun{"release-with-eyes", "bench-node", 22, "doser-drip", 0.3},
		sixtyRun{"quick-leak", "bench-node", 23, "outlet-valve-leak", 0.1})
}

// sixtyAnswers is what the person at the bench says.
var sixtyAnswers = map[string]string{"torque_done": "yes", "insulation_resistance": "> 200 Mohm",
	"urea_content": "32.5 %", "external_leak": "no", "crystals": "none"}

type sixtyPerson struct{ name string }

func (p *sixtyPerson) Ask(q *scenario.Question) { p.name = q.Name }
func (p *sixtyPerson) Withdraw()                {}
func (p *sixtyPerson) Answer() (samples.Answer, bool) {
	return samples.Answer{State: scenario.Given, Text: sixtyAnswers[p.name], From: "file"}, true
}

// sixtyPlan is a shipped scenario with the rig that it runs on.
type sixtyPlan struct {
	plan *scenario.Plan
	rig  *rig.Rig
}

// journal runs the plan in virtual time on the simulated bench and returns the journal that holdfast run
// would have written.
func (s sixtyRun) journal(t testing.TB, p *scenario.Plan, r *rig.Rig) []byte {
	t.Helper()
	start := clock.At(time.Date(2026, 11, 24, 8, 0, 0, 0, time.UTC))
	faults := map[string]float64{}
	if s.fault != "" {
		faults[s.fault] = s.severity
	}
	bench, err := sim.New(sim.Options{Seed: s.seed, Faults: faults, Start: start,
		Controller: r.Kind == rig.Controller})
	require.NoError(t, err)
	bus := virtual.New(start, 250_000)
	bus.Attach(bench)
	port := bus.Open("harness")
	var file journal.Memory
	w, err := journal.NewWriter(&file, journal.Header{
		Identity: samples.Identity{Run: s.String(), Serial: "SIXTY", Started: start.Time(), Scenario: p.Name,
			Rig: r.Name, Bus: simbench.Bus, Simulated: true, Seed: s.seed, Faults: faults},
		ScenarioPath: p.Path, ScenarioText: p.Text, RigPath: r.Path, RigText: r.Text, DBC: r.DBC})
	require.NoError(t, err)
	_, err = engine.Run(context.Background(), engine.Config{Plan: p, Rig: r, Port: port, Journal: w,
		Asker: &sixtyPerson{}})
	require.NoError(t, err)
	require.NoError(t, w.Close())
	require.NoError(t, port.Close())
	return file.Bytes()
}

// sixtyRow is one part of one result: all of it ("*"), one characteristic, all causes, one other field.
type sixtyRow struct{ run, part, shown, hash string }

func (r sixtyRow) String() string {
	return strings.Join([]string{r.run, r.part, r.shown, r.hash}, "\t")
}

// sixtyRows takes a result apart. What names the run and the program does not count.
func sixtyRows(t testing.TB, run string, result []byte) (rows []sixtyRow, parts map[string]json.RawMessage) {
	t.Helper()
	var fields map[string]json.RawMessage
	require.NoError(t, json.Unmarshal(result, &fields))
	for _, name := range []string{"run", "started", "version"} {
		require.Contains(t, fields, name)
		delete(fields, name)
	}
	whole, err := json.Marshal(fields)
	require.NoError(t, err)
	parts = map[string]json.RawMessage{"*": whole}
	var verdict string
	require.NoError(t, json.Unmarshal(fields["verdict"], &verdict))
	rows = append(rows, sixtyRow{run, "*", verdict, sixtyHash(whole)})
	rest := map[string]json.RawMessage{} // fields that are seldom of interest share a row
	for _, name := range slices.Sorted(maps.Keys(fields)) {
		switch name {
		case "characteristics":
			rows = append(rows, sixtyCharacteristics(t, run, fields[name], parts)...)
		case "causes", "circuit", "faults", "instruments", "steps", "timing", "trip", "warnings":
			part := "$." + name
			parts[part] = fields[name]
			rows = append(rows, sixtyRow{run, part, sixtyShown(fields[name]), sixtyHash(fields[name])})
		default:
			rest[name] = fields[name]
		}
	}
	parts["$ (rest)"], err = json.Marshal(rest)
	require.NoError(t, err)
	shown := fmt.Sprintf("%d fields", len(rest))
	return append(rows, sixtyRow{run, "$ (rest)", shown, sixtyHash(parts["$ (rest)"])}), parts
}

func sixtyCharacteristics(t testing.TB, run string, list json.RawMessage,
	parts map[string]json.RawMessage) []sixtyRow {
	t.Helper()
	var rows []sixtyRow
	var all []json.RawMessage
	require.NoError(t, json.Unmarshal(list, &all))
	for i, text := range all {
		var c struct {
			Name, At, Unit, Verdict string
			Value                   *float64
			U                       *float64 `json:"expanded_uncertainty"`
		}
		require.NoError(t, json.Unmarshal(text, &c))
		part := fmt.Sprintf("$.characteristics[%d] %s", i, strings.TrimSpace(c.Name+" "+c.At))
		shown := c.Verdict
		if c.Value != nil && c.U != nil {
			shown = fmt.Sprintf("%v ± %v %s: %s", *c.Value, *c.U, c.Unit, c.Verdict)
		}
		parts[part] = text
		rows = append(rows, sixtyRow{run, part, shown, sixtyHash(text)})
	}
	return rows
}

// sixtyShown is what a reader of the file sees of a field besides its hash.
func sixtyShown(text json.RawMessage) string {
	var list []struct{ Name, Outcome string }
	if json.Unmarshal(text, &list) == nil && len(list) > 0 && list[0].Name != "" {
		return fmt.Sprintf("%d, first: %s", len(list), strings.TrimSpace(list[0].Name+" "+list[0].Outcome))
	}
	if len(text) <= 40 {
		return string(text)
	}
	return fmt.Sprintf("%d bytes", len(text))
}

func sixtyHash(text []byte) string {
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:8])
}

// sixtyGolden reads the golden rows by run, in their order.
func sixtyGolden(t testing.TB) map[string][]sixtyRow {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(repoRoot, sixtyFile))
	require.NoError(t, err, "go test ./cmd/holdfast -run 'TestSixty$' -update writes it")
	rows := map[string][]sixtyRow{}
	for line := range strings.Lines(string(text)) {
		f := strings.Split(strings.TrimSuffix(line, "\n"), "\t")
		require.Len(t, f, 4, "%s: %q", sixtyFile, line)
		rows[f[0]] = append(rows[f[0]], sixtyRow{f[0], f[1], f[2], f[3]})
	}
	return rows
}

// TestSixty holds sixty seeded runs against what they came to when the golden file was written: the same
// journals and seeds give the same result.json, whatever was moved in the code. A change of results that is
// meant is written by -update in the same commit, and its message says what changed and why:
//
//	go test ./cmd/holdfast -run 'TestSixty$|TestWalk$' -update
//
// The golden values are those of amd64: other processors fuse multiplication and addition in the simulator, too. That they
// judge the same journals alike is held by TestSixty_Arm64.
func TestSixty(t *testing.T) {
	if !cpu.X86.HasFMA && !*sixtyUpdate {
		t.Skip("the golden values are those of amd64 with FMA, which math.Exp uses where it finds it")
	}
	runs := sixtyRuns()
	require.Len(t, runs, 60)
	plans := map[string]sixtyPlan{}
	for _, s := range runs {
		if _, known := plans[s.scenario]; !known {
			p, r := setup(t, s.scenario, s.rig)
			plans[s.scenario] = sixtyPlan{p, r}
		}
	}
	var golden map[string][]sixtyRow
	if !*sixtyUpdate {
		golden = sixtyGolden(t)
		require.Len(t, golden, len(runs), sixtyFile)
	}
	var mu sync.Mutex
	found := map[string][]sixtyRow{}
	t.Run("runs", func(t *testing.T) {
		for _, s := range runs {
			t.Run(s.String(), func(t *testing.T) {
				t.Parallel()
				p := plans[s.scenario]
				rows, parts := sixtyRows(t, s.String(), sixtyResult(t, s.journal(t, p.plan, p.rig)))
				mu.Lock()
				found[s.String()] = rows
				mu.Unlock()
				if !*sixtyUpdate {
					sixtyCompare(t, golden[s.String()], rows, parts)
				}
			})
		}
	})
	if *sixtyUpdate {
		sixtyWrite(t, runs, found)
	}
}

// sixtyResult judges a journal as holdfast report does: by the scenario and the rig that are in it.
func sixtyResult(t testing.TB, text []byte) []byte {
	t.Helper()
	h, rec, err := journal.Read(bytes.NewReader(text))
	require.NoError(t, err)
	p, err := scenariofile.Parse(h.ScenarioPath, h.ScenarioText)
	require.NoError(t, err)
	r, err := rigfile.Parse(h.RigPath, h.RigText, scenarios.ReadDBC)
	require.NoError(t, err)
	result, err := json.Marshal(judge.Judge(h.Identity, rec, r, p))
	require.NoError(t, err)
	return result
}

// sixtyCompare names the first part of a result that differs, what it was and what it is.
func sixtyCompare(t *testing.T, want, got []sixtyRow, parts map[string]json.RawMessage) {
	t.Helper()
	require.NotEmpty(t, want, "%s has no such run", sixtyFile)
	if want[0].hash == got[0].hash {
		return
	}
	was := map[string]sixtyRow{}
	for _, r := range want {
		was[r.part] = r
	}
	differ := 0
	for _, r := range got[1:] {
		if was[r.part].hash == r.hash {
			delete(was, r.part)
			continue
		}
		if differ++; differ == 1 {
			t.Errorf("%s\nwas %s\nis  %s\n%s", r.part, was[r.part].shown, r.shown, parts[r.part])
		}
		delete(was, r.part)
	}
	delete(was, "*")
	t.Errorf("%d parts differ, %d are gone %v; verdict was %s, is %s", differ, len(was),
		slices.Sorted(maps.Keys(was)), want[0].shown, got[0].shown)
}

func sixtyWrite(t *testing.T, runs []sixtyRun, found map[string][]sixtyRow) {
	t.Helper()
	var text bytes.Buffer
	for _, s := range runs {
		require.NotEmpty(t, found[s.String()], "-update needs all runs: -run 'TestSixty$'")
		for _, r := range found[s.String()] {
			fmt.Fprintln(&text, r)
		}
	}
	path := filepath.Join(repoRoot, sixtyFile)
	require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
	require.NoError(t, os.WriteFile(path, text.Bytes(), 0o644))
}
