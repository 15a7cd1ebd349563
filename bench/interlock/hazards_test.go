package interlock

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestHazards: every row of the hazard table says how it comes about, what stops it and by which test that is shown, and
// the test is there, runs without a lab, and is not skipped.
func TestHazards(t *testing.T) {
	table, err := os.ReadFile("HAZARDS.md")
	require.NoError(t, err)
	bodies := testsOfTheHouse(t)
	kinds := map[string]int{}
	for _, line := range strings.Split(string(table), "\n") {
		if !strings.HasPrefix(line, "| ") || strings.HasPrefix(line, "| kind ") || strings.HasPrefix(line, "| ---") {
			continue
		}
		cells := strings.Split(strings.Trim(line, "| "), "|")
		require.Len(t, cells, 6, line)
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
			if i != 4 { // what is left to the person may be nothing
				require.NotEmpty(t, cells[i], line)
			}
		}
		kinds[cells[0]]++
		shown := regexp.MustCompile("`([^`]+)`").FindAllStringSubmatch(cells[5], -1)
		require.NotEmpty(t, shown, "no test shows: %s", cells[1])
		for _, m := range shown {
			name, part, _ := strings.Cut(m[1], "/")
			body, there := bodies[name]
			require.True(t, there, "%s: there is no test %s", cells[1], name)
			require.Contains(t, body, part, "%s: %s has no part of this name", cells[1], name)
			require.NotContains(t, body, "t.Skip(", "%s: %s is skipped", cells[1], name)
		}
	}
	for _, kind := range []string{"pressure", "motion", "electrics", "heat", "fluid", "wrong pass"} {
		require.NotZero(t, kinds[kind], "no row about %s", kind)
	}
}

// testsOfTheHouse returns the text of every test that needs no lab, by its name; of several of one name all together.
func testsOfTheHouse(t *testing.T) map[string]string {
	t.Helper()
	bodies := map[string]string{}
	begin := regexp.MustCompile(`(?m)^func (Test\w+)\(t \*testing\.T\) \{`)
	for _, top := range []string{"../../bench", "../../cmd", "../../sim", "../../j1939"} {
		require.NoError(t, filepath.WalkDir(top, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, "_test.go") {
				return err
			}
			text, err := os.ReadFile(path)
			if err != nil || strings.Contains(string(text), "//go:build lab") {
				return err
			}
			for _, at := range begin.FindAllStringSubmatchIndex(string(text), -1) {
				body := string(text[at[0]:])
				if end := strings.Index(body, "\n}\n"); end >= 0 {
					body = body[:end]
				}
				bodies[string(text[at[2]:at[3]])] += body
			}
			return nil
		}))
	}
	return bodies
}
