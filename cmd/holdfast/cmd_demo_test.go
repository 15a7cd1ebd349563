package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// The demo plays to its end and leaves what it promises; it writes over nothing.
func TestDemo(t *testing.T) {
	long(t)
	to := filepath.Join(t.TempDir(), "demo")
	said := must(t, exitDone, "demo", "--to", to)
	require.Contains(t, said, "fail -> pass")
	for _, name := range []string{"pass", "fail", "undecided", "interrupted"} {
		for _, tail := range []string{".html", ".pdf"} {
			require.FileExists(t, filepath.Join(to, "pages", name+tail))
		}
	}
	page, err := os.ReadFile(filepath.Join(to, "index.html"))
	require.NoError(t, err)
	require.Contains(t, string(page), "certificate pdf")
	tables, err := filepath.Glob(filepath.Join(to, "tables", "samples", "date=*", "*.parquet"))
	require.NoError(t, err)
	require.Len(t, tables, 6)
	require.Contains(t, must(t, exitUsage, "demo", "--to", to), "not empty")
}
