package report_test

import (
	"bytes"
	"encoding/xml"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/report"
	"holdfast/bench/samples"
)

var update = flag.Bool("update", false,
	"write the golden files anew; look at the difference before you commit it")

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(path, got, 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), string(got), "go test ./bench/report -update writes it anew")
}

func table(t *testing.T, res *judge.Result, width int, colour bool) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, report.Table(&b, res, width, colour))
	return b.String()
}

// passed is the made-up run without what was wrong in it.
func passed() *judge.Result {
	res := madeUp()
	res.Verdict, res.Causes, res.Warnings = judge.Pass, res.Causes[3:], nil
	res.Lines = append(res.Lines[:7:7], res.Lines[10:12]...)
	return res
}

func tripped() *judge.Result {
	res := madeUp()
	res.Verdict, res.Lines, res.Causes = judge.Tripped, res.Lines[:5], nil
	rec := res.Recording
	rec.Steps = rec.Steps[:4]
	rec.Ended, rec.Trip = samples.Tripped, &samples.Trip{Time: at(43), Name: "over-pressure",
		Reading: "11.62 bar",
		Limit:   "11.5 bar", Next: "Wait until the gauge shows no pressure, then look for what blocks the " +
			"return."}
	rec.End = at(43)
	for i := range rec.Channels {
		s := &rec.Channels[i]
		n := min(len(s.T), 4300)
		s.T, s.V = s.T[:n], s.V[:n]
	}
	res.Curves = measure.Read(rec, res.Bench, res.Plan).Curves()
	return res
}

func TestTable_Golden(t *testing.T) {
	golden(t, "fail-100.txt", []byte(table(t, madeUp(), 100, false)))
	golden(t, "fail-60.txt", []byte(table(t, madeUp(), 60, false)))
	golden(t, "pass-80.txt", []byte(table(t, passed(), 80, false)))
	golden(t, "trip-80.txt", []byte(table(t, tripped(), 80, false)))
}

// Colour only repeats: without its escapes the table is the same text.
func TestTable_ColourAddsNothing(t *testing.T) {
	coloured := table(t, madeUp(), 100, true)
	require.Contains(t, coloured, "\x1b[")
	for _, sgr := range []string{"0", "1", "2", "32", "33", "1;31", "1;32", "1;33"} {
		coloured = strings.ReplaceAll(coloured, "\x1b["+sgr+"m", "")
	}
	require.Equal(t, table(t, madeUp(), 100, false), coloured)
}

func TestTable_KeepsItsWidth(t *testing.T) {
	for _, width := range []int{60, 80, 100, 140} {
		for _, line := range strings.Split(table(t, madeUp(), width, false), "\n") {
			if width >= 80 || !strings.Contains(line, "±") {
				require.LessOrEqual(t, utf8.RuneCountInString(line), max(width, 88), line)
			}
		}
	}
}

func TestTable_HostileTextMovesNothing(t *testing.T) {
	res := madeUp()
	res.Serial = "\x1b[2J\u202eDEMO\r\n\x00"
	res.Warnings = append(res.Warnings, "\x1b]0;title\a")
	res.Lines[0].Why = "\x9b31m"
	out := table(t, res, 100, false)
	require.NotContains(t, out, "\x1b")
	require.NotContains(t, out, "\u202e")
	require.NotContains(t, out, "\r")
	require.NotContains(t, out, "\u009b")
}

func TestTable_SaysWhenNothingIsKnownOfTheLine(t *testing.T) {
	res := madeUp()
	require.Contains(t, table(t, res, 120, false), "Safe to open when the run ended: line at 0.00 bar gauge")
	res.Recording.Ended = samples.Interrupted
	require.Contains(t, table(t, res, 120, false), "Not known to be safe to open")
	res = madeUp()
	res.Recording.End = res.Recording.End.Add(3e8)
	require.Contains(t, table(t, res, 120, false), "Not known to be safe to open",
		"a reading 0.3 s old is not fresh")
	require.Contains(t, table(t, tripped(), 120, false), "NOT safe to open: the line stood at 8.96 bar")
	res = madeUp()
	s := &res.Recording.Channels[1] // reference pressure
	s.V[len(s.V)-1] = 0.21
	require.Contains(t, table(t, res, 120, false), "NOT safe to open")
}

func TestJUnit_Golden(t *testing.T) {
	for name, res := range map[string]*judge.Result{"fail.xml": madeUp(), "pass.xml": passed(),
		"trip.xml": tripped()} {
		var b bytes.Buffer
		require.NoError(t, report.JUnit(&b, res))
		golden(t, name, b.Bytes())
	}
}

func TestJUnit_CountsAndHostileText(t *testing.T) {
	res := madeUp()
	res.Serial = "\"><script>\x00\x1b"
	var b bytes.Buffer
	require.NoError(t, report.JUnit(&b, res))
	var got struct {
		Suite struct {
			Name     string `xml:"name,attr"`
			Tests    int    `xml:"tests,attr"`
			Failures int    `xml:"failures,attr"`
			Errors   int    `xml:"errors,attr"`
			Skipped  int    `xml:"skipped,attr"`
			Cases    []struct {
				Failure *struct{} `xml:"failure"`
			} `xml:"testcase"`
		} `xml:"testsuite"`
	}
	require.NoError(t, xml.Unmarshal(b.Bytes(), &got))
	require.Equal(t, "release \"><script>\uFFFD\uFFFD", got.Suite.Name)
	require.Equal(t, 15, got.Suite.Tests)
	require.Equal(t, []int{2, 2, 1}, []int{got.Suite.Failures, got.Suite.Errors, got.Suite.Skipped})
	require.Len(t, got.Suite.Cases, 15)
}
