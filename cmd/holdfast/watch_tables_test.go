package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/require"

	"holdfast/bench/data"
	"holdfast/bench/watch"
)

// fleet is three recorded trucks: one healthy, one whose driver cuts the purge, one with a low tank.
func fleet(t *testing.T) (files []string) {
	dir := t.TempDir()
	for name, fault := range map[string]string{"truck-1": "purge-cut=0", "truck-2": "purge-cut=1", "truck-3": "tank-empty=1"} {
		path := filepath.Join(dir, name+".pcapng")
		must(t, exitDone, "sim", "vehicle", "--write", path, "--alone", "--legs", "14m+3m,12m+3m", "--fault", fault)
		files = append(files, path)
	}
	return files
}

// The tables hold what the printed rows hold, read back by the library and, where it is at hand, by another
// engine over all files at once.
func TestWatch_Tables(t *testing.T) {
	files, to := fleet(t), filepath.Join(t.TempDir(), "tables")
	line := append([]string{"watch", "--summary"}, files...)
	for _, bad := range [][]string{{"watch", files[0], "--to", to}, append(line, "--to", to, "--json"),
		append(line, "--to", to, "--format", "xlsx")} {
		must(t, exitUsage, bad...)
	}
	require.NoDirExists(t, to)
	var printed []watch.Row
	decoder := json.NewDecoder(strings.NewReader(must(t, exitDone, append(line, "--json")...)))
	for decoder.More() {
		var r watch.Row
		require.NoError(t, decoder.Decode(&r))
		printed = append(printed, r)
	}
	require.Len(t, printed, 6)
	require.Contains(t, must(t, exitDone, append(line, "--to", to)...), "3 recordings: 6 trips, ")
	must(t, exitDone, append(line, "--to", to)...) // once more: the same files

	levels := map[string]int{}
	names, err := filepath.Glob(filepath.Join(to, "trips", "date=2026-11-24", "*.parquet"))
	require.NoError(t, err)
	require.Len(t, names, 3)
	for _, name := range names {
		f, err := os.Open(name)
		require.NoError(t, err)
		info, err := f.Stat()
		require.NoError(t, err)
		rows, err := parquet.Read[data.Trip](f, info.Size())
		require.NoError(t, err)
		require.NoError(t, f.Close())
		for _, r := range rows {
			levels[r.Level]++
		}
	}
	for _, r := range printed {
		levels[r.Level.String()]--
	}
	for level, n := range levels {
		require.Zero(t, n, level)
	}
	rows := asked(t, `select count(*)::double n, sum(dosed_g) g, sum(purges_cut_short)::double cut,
		count(*) filter (level = 'watch')::double w from read_parquet('`+to+`/trips/*/*.parquet')`)
	var grams float64
	for _, r := range printed {
		grams += *r.Unit.Dosed
	}
	require.Equal(t, 6.0, rows[0]["n"])
	require.InEpsilon(t, grams, rows[0]["g"], 1e-9)
	require.Equal(t, 1.0, rows[0]["cut"])
	worst := asked(t, `select distinct parse_filename(recording, true) as truck, "check" as what from read_parquet('`+
		to+`/findings/*/*.parquet') where level_rank >= 2 order by all`)
	require.Equal(t, []map[string]any{{"truck": "truck-2", "what": "after-run purge"},
		{"truck": "truck-3", "what": "DEF tank"}}, worst)
}
