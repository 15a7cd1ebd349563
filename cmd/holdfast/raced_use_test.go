package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A run on the simulated bench takes ten times as long beside the race detector, and a race does not care which fault
// or which seed is run. So beside it tests of numbers run a few of their cases, and "make test" runs them all without.

// some is all of a list, and every n-th of it beside the race detector.
func some[T any](all []T, n int) (kept []T) {
	if !raced {
		return all
	}
	for i := 0; i < len(all); i += n {
		kept = append(kept, all[i])
	}
	return kept
}

// notRaced skips a test whose commands other tests bring before the race detector one by one.
func notRaced(t *testing.T) {
	t.Helper()
	if raced {
		t.Skip("too long beside the race detector: make test runs it without")
	}
}

// TestShortenedTestsRunWhole: "make test" runs without the race detector what is shortened beside it.
func TestShortenedTestsRunWhole(t *testing.T) {
	makefile, err := os.ReadFile(filepath.Join(repoRoot, "Makefile"))
	require.NoError(t, err)
	m := regexp.MustCompile(`(?m)^SHORTENED\s*:=\s*(\S+)$`).FindSubmatch(makefile)
	require.NotNil(t, m, "the Makefile names no shortened tests")
	whole := regexp.MustCompile(string(m[1]))
	files, err := filepath.Glob("*_test.go")
	require.NoError(t, err)
	found := 0
	for _, file := range files {
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		for _, test := range strings.Split(string(text), "\nfunc Test")[1:] {
			name, body, _ := strings.Cut(test, "(")
			body, _, _ = strings.Cut(body, "\n}\n")
			if regexp.MustCompile(`\b(raced\b|some\(|notRaced\(|units\()`).MatchString(body) && name != "ShortenedTestsRunWhole" {
				found++
				require.True(t, whole.MatchString("Test"+name), "%s: Test%s is shortened beside the race detector, "+
					"and SHORTENED in the Makefile does not name it", file, name)
			}
		}
	}
	require.Greater(t, found, 5)
}
