// Package recorded finds recorded traffic of vehicles, for tests: it is not a part of this repository. Recordings are
// looked for in the folder that HOLDFAST_DATA names, or in shared/data beside the repository.
package recorded

import (
	"os"
	"path/filepath"
	"testing"
)

// Folder is where recordings are looked for, whether or not it exists.
func Folder() string {
	if named := os.Getenv("HOLDFAST_DATA"); named != "" {
		return named
	}
	dir, _ := os.Getwd() // a test's own package
	for ; dir != filepath.Dir(dir); dir = filepath.Dir(dir) {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			break
		}
	}
	return filepath.Join(filepath.Dir(dir), "shared", "data")
}

// File is the path of one recording; the test is skipped where it is absent, and says so.
func File(tb testing.TB, name string) string {
	tb.Helper()
	path := filepath.Join(Folder(), filepath.FromSlash(name))
	if _, err := os.Stat(path); err != nil {
		tb.Skipf("recorded traffic is not here, HOLDFAST_DATA names its folder: %v", err)
	}
	return path
}
