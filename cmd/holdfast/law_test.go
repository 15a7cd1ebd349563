package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
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

// TestImportLaw holds what every package reaches, directly or through others, against the law's table.
func TestImportLaw(t *testing.T) {
	direct, _ := importsOf(t)
	rows := map[string]room{}
	for _, r := range importLaw {
		require.NotContains(t, rows, r.path, "two lines of the import law for one room")
		require.NotEmpty(t, r.why, r.path)
		rows[r.path] = r
	}
	for _, pkg := range slices.Sorted(maps.Keys(direct)) {
		from := reached(pkg, direct)
		r, ok := rows[pkg]
		if !ok {
			t.Errorf("%s has no line in the import law. Add one to importLaw in cmd/holdfast/law_table_test.go, with its "+
				"reason; what it reaches today is\n\t{%q, %q, \"why it may\"},", pkg, pkg,
				strings.Join(slices.Sorted(maps.Keys(from)), " "))
			continue
		}
		for _, target := range slices.Sorted(maps.Keys(from)) {
			if !allowed(r.may, target) {
				t.Errorf("%s must not reach %s (it does by %s): %s. If that should change, add %s to its line in "+
					"cmd/holdfast/law_table_test.go and say why", pkg, target, chain(pkg, target, from), r.why, target)
			}
		}
	}
}

// TestImportLaw_Tests: a test may import more than its room, but bench and sim stay apart there too.
func TestImportLaw_Tests(t *testing.T) {
	_, tests := importsOf(t)
	for pkg, imports := range tests {
		top, _, _ := strings.Cut(pkg, "/")
		for target, file := range imports {
			require.True(t, allowed(testsMay[top], target), "%s imports %s: tests under %s may import %s", file, target,
				top, testsMay[top])
		}
	}
}

// TestImportLaw_Notices: the law sees what is reached through others, and what it does not name.
func TestImportLaw_Notices(t *testing.T) {
	direct := map[string]map[string]string{
		"bench/interlock": {"bench/samples": "x.go"}, "bench/samples": {"bench/scenario": "y.go"}, "bench/scenario": {}}
	from := reached("bench/interlock", direct)
	require.Equal(t, "bench/interlock -> bench/samples -> bench/scenario", chain("bench/interlock", "bench/scenario", from))
	i := slices.IndexFunc(importLaw, func(r room) bool { return r.path == "bench/interlock" })
	require.False(t, allowed(importLaw[i].may, "bench/scenario"))
	require.False(t, allowed(importLaw[i].may, "bench/samples"))
	require.True(t, allowed("bench/rig j1939/...", "j1939/can"))
	require.False(t, allowed("bench/rig j1939/...", "bench/rig/rigfile"))
	require.Equal(t, []string{"time.Now", "time.Since", "context.WithTimeout", "clock.Real"}, clockReadsIn(t, `package x
import ("context"; "time"; c "holdfast/j1939/clock")
var now = time.Now
func f(t time.Time) { time.Since(t); context.WithTimeout(nil, time.Second); c.Real(); t.After(t) }`))
}

// TestHouseRules_Clock: only the edges read a clock or wait by one.
func TestHouseRules_Clock(t *testing.T) {
	for _, file := range goFiles(t) {
		pkg := path.Dir(file)
		if strings.HasSuffix(file, "_test.go") || clockEdges[pkg] != "" {
			continue
		}
		text, err := os.ReadFile(filepath.Join(repoRoot, file))
		require.NoError(t, err)
		for _, read := range clockReadsIn(t, string(text)) {
			t.Errorf("%s uses %s: take the time as a parameter. An edge that must read the clock is named in clockEdges "+
				"in cmd/holdfast/law_table_test.go, with its reason", file, read)
		}
	}
}

// TestHouseRules holds the source against rules that no linter knows.
func TestHouseRules(t *testing.T) {
	for _, file := range goFiles(t) {
		switch name := path.Base(path.Dir(file)); name {
		case "util", "utils", "common", "lib", "helpers", "types", "misc":
			t.Errorf("%s: a room is named for what it is about, not %q", file, name)
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

// allowed reports whether a package is in a list: by itself, or below a room that ends in "/...".
func allowed(list, pkg string) bool {
	return slices.ContainsFunc(strings.Fields(list), func(entry string) bool {
		below, all := strings.CutSuffix(entry, "/...")
		return entry == pkg || all && (pkg == below || strings.HasPrefix(pkg, below+"/"))
	})
}

// reached returns every package that pkg reaches, each with the one that it was first reached from.
func reached(pkg string, direct map[string]map[string]string) map[string]string {
	from := map[string]string{}
	for todo := []string{pkg}; len(todo) > 0; todo = todo[1:] {
		for _, next := range slices.Sorted(maps.Keys(direct[todo[0]])) {
			if _, seen := from[next]; !seen && next != pkg {
				from[next] = todo[0]
				todo = append(todo, next)
			}
		}
	}
	return from
}

// chain words how one package reaches another.
func chain(pkg, target string, from map[string]string) string {
	text := target
	for target != pkg {
		target = from[target]
		text = target + " -> " + text
	}
	return text
}

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

// importsOf returns our own packages that each package imports, with a file that does; tests apart.
func importsOf(t *testing.T) (code, tests map[string]map[string]string) {
	t.Helper()
	code, tests = map[string]map[string]string{}, map[string]map[string]string{}
	for _, file := range goFiles(t) {
		f, err := parser.ParseFile(token.NewFileSet(), filepath.Join(repoRoot, file), nil, parser.ImportsOnly)
		require.NoError(t, err)
		into, pkg := code, path.Dir(file)
		if strings.HasSuffix(file, "_test.go") {
			into = tests
		}
		if into[pkg] == nil {
			into[pkg] = map[string]string{}
		}
		for _, spec := range f.Imports {
			imported, err := strconv.Unquote(spec.Path.Value)
			require.NoError(t, err)
			if target, ours := strings.CutPrefix(imported, "holdfast/"); ours {
				into[pkg][target] = file
			}
		}
	}
	return code, tests
}

// clockReadsIn finds every use of what reads the clock, called or handed on.
func clockReadsIn(t *testing.T, source string) []string {
	t.Helper()
	f, err := parser.ParseFile(token.NewFileSet(), "", source, 0)
	require.NoError(t, err)
	banned := map[string]string{} // the name under which a package is imported, to its path
	for _, spec := range f.Imports {
		imported, err := strconv.Unquote(spec.Path.Value)
		require.NoError(t, err)
		if clockReads[imported] == "" {
			continue
		}
		name := path.Base(imported)
		if spec.Name != nil {
			name = spec.Name.Name
		}
		require.NotEqual(t, ".", name, "%s imported with a dot hides what is called", imported)
		banned[name] = imported
	}
	var found []string
	ast.Inspect(f, func(n ast.Node) bool {
		if s, ok := n.(*ast.SelectorExpr); ok {
			if x, ok := s.X.(*ast.Ident); ok && slices.Contains(strings.Fields(clockReads[banned[x.Name]]), s.Sel.Name) {
				found = append(found, path.Base(banned[x.Name])+"."+s.Sel.Name)
			}
		}
		return true
	})
	return found
}
