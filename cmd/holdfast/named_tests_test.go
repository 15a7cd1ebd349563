package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestDevelopersNamesTests: a test that DEVELOPERS.md names (in backticks; a row of it after the slash) is
// there. A table of what was tried is worth nothing once the test behind a row has gone.
func TestDevelopersNamesTests(t *testing.T) {
	page, err := os.ReadFile(filepath.Join(repoRoot, "DEVELOPERS.md"))
	require.NoError(t, err)
	var all strings.Builder
	for _, file := range goFiles(t) {
		if strings.HasSuffix(file, "_test.go") {
			text, err := os.ReadFile(filepath.Join(repoRoot, file))
			require.NoError(t, err)
			all.Write(text)
		}
	}
	tests := all.String()
	named := regexp.MustCompile("`(Test\\w+)(?:/([^`]+))?`").FindAllStringSubmatch(string(page), -1)
	require.NotEmpty(t, named)
	for _, n := range named {
		require.True(t, strings.Contains(tests, "func "+n[1]+"("), "DEVELOPERS.md names %s, which is no test", n[1])
		require.True(t, n[2] == "" || strings.Contains(tests, `{"`+n[2]), "DEVELOPERS.md names row %q of %s, which it has not",
			n[2], n[1])
	}
}
