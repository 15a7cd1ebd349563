package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// inLab are packages whose goroutines run in the lab's tests alone: the race detector does not work there.
var inLab = []string{"bench/engine", "j1939/node"}

// TestRaced: "make race" runs every package in which goroutines are begun, and names no test that is not there.
func TestRaced(t *testing.T) {
	makefile, err := os.ReadFile("../../Makefile")
	require.NoError(t, err)
	text := strings.ReplaceAll(string(makefile), "\\\n", " ")
	raced := strings.Fields(setTo(t, text, "RACED"))
	for _, dir := range slices.Sorted(maps.Keys(beginners(t, "../.."))) {
		if dir != "cmd/holdfast" && !slices.Contains(inLab, dir) {
			assert.Contains(t, raced, "./"+dir, "%s begins goroutines, and RACED in the Makefile does not name it", dir)
		}
	}
	require.Contains(t, text, "-race -timeout 30m -run '$(RACED_COMMANDS)' ./cmd/holdfast")
	tests := testsOf(t, "../../cmd/holdfast")
	_, names, _ := strings.Cut(strings.TrimSuffix(setTo(t, text, "RACED_COMMANDS"), ")"), "(")
	for _, name := range strings.Split(strings.NewReplacer("_(Alarm|Attach)", "_", "$$", "$").Replace(names), "|") {
		require.True(t, slices.ContainsFunc(tests, regexp.MustCompile("^Test"+name).MatchString),
			"RACED_COMMANDS names %s: there is no such test", name)
	}
}

// setTo is what a variable of the Makefile is set to.
func setTo(t *testing.T, makefile, name string) string {
	t.Helper()
	m := regexp.MustCompile(`(?m)^` + name + ` := (.*)$`).FindStringSubmatch(makefile)
	require.NotNil(t, m, "the Makefile does not set %s", name)
	return m[1]
}

// beginners are the folders with a go statement, or with a call of a method Go as a WaitGroup has.
func beginners(t *testing.T, top string) map[string]bool {
	t.Helper()
	found := map[string]bool{}
	require.NoError(t, filepath.WalkDir(top, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") {
			return err
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		require.NoError(t, err)
		ast.Inspect(f, func(n ast.Node) bool {
			_, begins := n.(*ast.GoStmt)
			if call, ok := n.(*ast.CallExpr); ok {
				method, ok := call.Fun.(*ast.SelectorExpr)
				begins = ok && method.Sel.Name == "Go"
			}
			if begins {
				dir, err := filepath.Rel(top, filepath.Dir(path))
				require.NoError(t, err)
				found[filepath.ToSlash(dir)] = true
			}
			return true
		})
		return nil
	}))
	require.Greater(t, len(found), 5)
	return found
}

func testsOf(t *testing.T, dir string) (names []string) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*_test.go"))
	require.NoError(t, err)
	for _, file := range files {
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		for _, m := range regexp.MustCompile(`(?m)^func (Test\w+)\(`).FindAllStringSubmatch(string(text), -1) {
			names = append(names, m[1])
		}
	}
	return names
}
