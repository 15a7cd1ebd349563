package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const repoRoot = "../.."

// ban is one line of the import law: packages under from never import packages under to.
type ban struct{ from, to, why string }

// The import law. Data flows one way: bus -> signals -> samples -> characteristics -> verdict -> report.
var importLaw = []ban{
	{"j1939", "bench", "the standard knows no bench: others could use it for any controller"},
	{"j1939", "sim", "the standard knows no simulator"},
	{"j1939", "scenarios", "the standard knows no test sequence"},
	{"j1939", "cmd", "nothing imports the command line"},
	{"sim", "bench", "the simulator is reached through CAN frames only: shared code would hide shared mistakes"},
	{"sim", "scenarios", "the simulator does not know what it will be asked"},
	{"sim", "cmd", "nothing imports the command line"},
	{"bench", "sim", "the harness must not know that it is being fooled"},
	{"bench", "scenarios", "shipped files are handed in by the command line like any other file"},
	{"bench", "cmd", "nothing imports the command line"},
	{"scenarios", "bench", "a shipped file is text: it is checked by the rooms that read it"},
	{"scenarios", "sim", "a shipped file knows no simulator"},

	{"j1939/transport", "j1939/can/socketcan", "protocol machines are pure: no socket"},
	{"j1939/trace", "j1939/can/socketcan", "decoding is handed a source: it must not be able to open what could send"},
	{"bench/watch", "j1939/can/socketcan", "a listener is handed a source: it must not be able to open what could send"},
	{"j1939/transport", "j1939/can/unixbus", "protocol machines are pure: no socket"},
	{"j1939/trace", "j1939/can/unixbus", "decoding is handed a source: it must not be able to open what could send"},
	{"bench/watch", "j1939/can/unixbus", "a listener is handed a source: it must not be able to open what could send"},
	{"bench/watch", "bench/engine", "a listener moves nothing"},
	{"bench/watch", "j1939/node", "a listener takes no part in the bus"},
	{"j1939/diag", "j1939/can", "a diagnostic message is bytes, wherever they came from"},
	{"j1939/spn", "j1939/can", "a parameter is bytes, wherever they came from"},
	{"bench/interlock", "bench/scenario", "safety does not depend on the scenario"},
	{"bench/interlock", "bench/engine", "safety does not depend on the step that runs"},
	{"bench/measure", "bench/grade", "measuring knows no limits"},
	{"bench/measure", "bench/engine", "measuring is pure: it works from samples alone"},
	{"bench/measure", "bench/journal", "measuring is pure: it works from samples alone"},
	{"bench/grade", "bench/engine", "judging is pure"},
	{"bench/cause", "bench/engine", "judging is pure"},
	{"bench/report", "bench/engine", "a report shows and moves nothing"},
	{"bench/engine", "bench/session", "the engine runs whatever it is handed, and puts nothing away"},
	{"bench/record", "bench/session", "what a record holds does not depend on how it came about"},
	{"bench/session", "j1939/can/socketcan", "a run is handed its bus: real, simulated or in lock-step"},
	{"bench/session", "j1939/can/unixbus", "a run is handed its bus: real, simulated or in lock-step"},
	{"bench/engine", "bench/measure", "the engine runs, it does not measure"},
	{"bench/engine", "bench/judge", "the engine runs, it does not judge"},
	{"bench/engine", "bench/report", "the engine runs, it does not report"},
}

// TestImportLaw holds every Go file, tests included, against the import law.
func TestImportLaw(t *testing.T) {
	for file, imports := range importsOf(t) {
		room := path.Dir(file)
		for _, imported := range imports {
			target, ours := strings.CutPrefix(imported, "holdfast/")
			if !ours {
				continue
			}
			for _, b := range importLaw {
				if within(room, b.from) && within(target, b.to) {
					t.Errorf("%s imports %s: %s must not import %s, because %s", file, imported, b.from, b.to, b.why)
				}
			}
		}
	}
}

// TestImportLawNamesRooms fails when a ban speaks of a room that is gone: the law would be silent.
func TestImportLawNamesRooms(t *testing.T) {
	for _, b := range importLaw {
		for _, room := range []string{b.from, b.to} {
			require.DirExists(t, filepath.Join(repoRoot, room), "the import law names a room that does not exist")
		}
	}
}

// Packages that may read the computer's clock: the edges. Everything else gets its time as a parameter.
var clockReaders = []string{"cmd/holdfast", "j1939/clock", "j1939/can/socketcan", "j1939/can"}

// TestHouseRules holds the source against rules that no linter knows.
func TestHouseRules(t *testing.T) {
	for _, file := range goFiles(t) {
		room, name := path.Dir(file), path.Base(file)
		text, err := os.ReadFile(filepath.Join(repoRoot, file))
		require.NoError(t, err)
		switch path.Base(room) {
		case "util", "utils", "common", "lib", "helpers", "types", "misc":
			t.Errorf("%s: a room is named for what it is about, not %q", file, path.Base(room))
		}
		if strings.HasSuffix(name, "_test.go") || slices.Contains(clockReaders, room) {
			continue
		}
		for _, word := range []string{"time.Now(", "time.Sleep(", "time.NewTicker(", "time.After("} {
			if strings.Contains(string(text), word) {
				t.Errorf("%s: %s) in a core; take the time as a parameter", file, strings.TrimSuffix(word, "("))
			}
		}
	}
}

// TestTopLevelFolders keeps the house's ground plan.
func TestTopLevelFolders(t *testing.T) {
	allowed := map[string]bool{"cmd": true, "bench": true, "j1939": true, "scenarios": true, "sim": true, "testdata": true,
		"bin": true, "out": true, "can-lab-out": true} // the last three are ignored by git
	entries, err := os.ReadDir(repoRoot)
	require.NoError(t, err)
	for _, e := range entries {
		if e.IsDir() && !strings.HasPrefix(e.Name(), ".") {
			require.True(t, allowed[e.Name()], "%s is not one of the rooms that DEVELOPERS.md names", e.Name())
		}
	}
}

func within(pkg, room string) bool { return pkg == room || strings.HasPrefix(pkg, room+"/") }

func goFiles(t *testing.T) []string {
	t.Helper()
	var files []string
	require.NoError(t, filepath.WalkDir(repoRoot, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && strings.HasPrefix(d.Name(), ".") && d.Name() != ".." {
			return fs.SkipDir
		}
		if strings.HasSuffix(p, ".go") {
			rel, err := filepath.Rel(repoRoot, p)
			files = append(files, filepath.ToSlash(rel))
			return err
		}
		return nil
	}))
	require.NotEmpty(t, files)
	return files
}

func importsOf(t *testing.T) map[string][]string {
	t.Helper()
	all := map[string][]string{}
	for _, file := range goFiles(t) {
		f, err := parser.ParseFile(token.NewFileSet(), filepath.Join(repoRoot, file), nil, parser.ImportsOnly)
		require.NoError(t, err)
		for _, spec := range f.Imports {
			imported, err := strconv.Unquote(spec.Path.Value)
			require.NoError(t, err)
			all[file] = append(all[file], imported)
		}
	}
	return all
}
