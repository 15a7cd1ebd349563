package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/record"
	"holdfast/bench/rig"
)

// asked runs a query in DuckDB, an engine that nobody here wrote. HOLDFAST_NPM names a folder in which
// "npm install @duckdb/node-api" was run.
func asked(t *testing.T, query string) []map[string]any {
	t.Helper()
	dir := os.Getenv("HOLDFAST_NPM")
	if dir == "" {
		t.Skip("HOLDFAST_NPM is not set: no Parquet file is read by another engine " +
			"(npm install --prefix DIR @duckdb/node-api)")
	}
	script := filepath.Join(t.TempDir(), "ask.mjs")
	require.NoError(t, os.WriteFile(script, []byte(`import { createRequire } from 'module';
const { DuckDBInstance } = createRequire(process.argv[2] + '/x.js')('@duckdb/node-api');
const db = await (await DuckDBInstance.create(':memory:')).connect();
console.log(JSON.stringify((await db.runAndReadAll(process.argv[3])).getRowObjectsJson()));`), 0o644))
	out, err := exec.Command("node", script, dir, query).CombinedOutput()
	require.NoError(t, err, string(out))
	var rows []map[string]any
	require.NoError(t, json.Unmarshal(out, &rows), string(out))
	return rows
}

// Row counts and sums that the other engine finds over the files of several runs are those of the journals.
func TestExport_ReadByAnotherEngine(t *testing.T) {
	out, to := t.TempDir(), filepath.Join(t.TempDir(), "tables")
	runs := []string{runOn(t, out, "A", exitDone), runOn(t, out, "B", exitFail, "--fault",
		"membrane-split=0.6")}
	require.Contains(t, must(t, exitDone, "export", "--to", to, "--out", out), "2 runs: ")
	var counts [rig.NumChannels]int
	var sums [rig.NumChannels]float64
	verdicts := map[string]string{}
	for _, run := range runs {
		f, err := record.Resolve(out, run)
		require.NoError(t, err)
		res, err := record.Rejudge(f)
		require.NoError(t, err)
		verdicts[run] = res.Verdict.String()
		for c, s := range res.Recording.Channels {
			counts[c] += len(s.V)
			for _, v := range s.V {
				sums[c] += v
			}
		}
	}
	rows := asked(t, `select channel, count(*)::double n, sum(value) s from read_parquet('`+to+
		`/samples/*/*.parquet', hive_partitioning = true) where kind = 'reading' group by channel`)
	require.NotEmpty(t, rows)
	named := map[string]rig.Channel{}
	for c := range rig.Channel(rig.NumChannels) {
		named[c.String()] = c
	}
	for _, r := range rows {
		c, ok := named[r["channel"].(string)]
		require.True(t, ok)
		require.Equal(t, float64(counts[c]), r["n"], c)
		require.InEpsilon(t, 1+sums[c], 1+r["s"].(float64), 1e-9, c.String())
		counts[c] = 0
	}
	require.Zero(t, counts, "no channel is missing")
	for _, r := range asked(t,
		`select distinct run, run_verdict, date::varchar as day from read_parquet('`+to+`/results/*/*.parquet')`) {
		require.Equal(t, verdicts[r["run"].(string)], r["run_verdict"])
		require.True(t, strings.HasPrefix(r["run"].(string), strings.ReplaceAll(r["day"].(string), "-", "")))
	}
}

// decode writes the same rows to Parquet as to CSV, and the other engine counts them.
func TestDecode_Tables(t *testing.T) {
	dir := t.TempDir()
	log := filepath.Join(dir, "key-on.log")
	// PGN 61444, engine speed 1500 r/min, then not available.
	require.NoError(t, os.WriteFile(log,
		[]byte("(1.0) can0 0CF00400#FFFFFFE02EFFFFFF\n(2.0) can0 0CF00400#FFFFFFFFFFFFFFFF\n"), 0o644))
	table, text := filepath.Join(dir, "t.parquet"), filepath.Join(dir, "t.csv")
	must(t, exitDone, "decode", log, "--csv", text)
	must(t, exitDone, "decode", log, "--parquet", table)
	lines, err := os.ReadFile(text)
	require.NoError(t, err)
	require.Contains(t, string(lines), "1970-01-01T00:00:01.000000Z,0,61444,0,255,190,Engine Speed,1500,")
	rows := asked(t, `select count(*)::double n, sum(value) filter (spn = 190) s from '`+table+`'`)
	require.Equal(t, float64(strings.Count(string(lines), "\n")-1), rows[0]["n"])
	require.Equal(t, 1500.0, rows[0]["s"])
}
