package main

import (
	"bytes"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// A room whose test notices some changes and not others: the limit itself is never tried, nor what is below zero.
const (
	mutated = `package room

import "time"

const half = 100 / 2 // a constant is no function's

// Within is in the condition of a switch, in a chain, and of a named type.
func Within(x, y int, d time.Duration) (n int, late time.Duration) {
	switch {
	case x < 10 && y+1 > // with a comment
		half:
		n++
	}
	for i := range 3 {
		n += i * 2
	}
	return n, d + time.Duration(x)
}

func unused(x float64) float64 { return -x }
`
	mutatedTest = `package room

import (
	"testing"
	"time"
)

func TestWithin(t *testing.T) {
	for x, want := range map[int]int{3: 7, 30: 6} {
		if n, late := Within(x, 60, time.Second); n != want || late != time.Second+time.Duration(x) {
			t.Fatal(x, n, late)
		}
	}
}
`
)

func TestMutants(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds: make test runs it")
	}
	top := t.TempDir()
	write(t, top, "go.mod", "module holdfast\n\ngo 1.26\n")
	write(t, top, "room/room.go", mutated)
	write(t, top, "room/room_test.go", mutatedTest)
	write(t, top, equivalentFile, "# package, file, change, reason\nroom\troom.go\t- -> + in func unused(x float64) "+
		"float64 { return -x }\tnobody calls it\n")
	var out bytes.Buffer
	require.NoError(t, runMutants(&out, top, []string{"./room"}), "%s", &out)
	rows := figuresIn(out.Bytes())
	require.Equal(t, "6 of 10, 1 of the others equivalent: 66.7 %; 1 of them not reached; 10 mutants in all", rows[0].value)
	require.Equal(t, "no", rows[0].met)
	require.Len(t, rows, 5)
	for _, row := range rows[1:] {
		require.Regexp(t, `^room/room.go:(10:9: < -> <=|10:18: \+ -> -|10:21: > -> >=|20:41: - -> \+) in `, row.what)
	}
	out.Reset()
	t.Setenv("HOLDFAST_SEED", "7")
	require.NoError(t, runMutants(&out, top, []string{"-n", "3", "./room"}), "%s", &out)
	require.Contains(t, figuresIn(out.Bytes())[0].value, " of 3, ")

	write(t, top, equivalentFile, "room\troom.go\t++ -> -- in n++\twrongly\n")
	require.ErrorContains(t, runMutants(&out, top, []string{"./room"}), "listed as equivalent, and a test notices it")
	write(t, top, equivalentFile, "room\n")
	require.ErrorContains(t, runMutants(&out, top, []string{"./room"}), "equivalent-mutants.txt:1: need package")
	require.ErrorContains(t, runMutants(&out, top, nil), "name the packages")
}

// Every mutant that is listed as equivalent is of a file that there is.
func TestMutants_Equivalent(t *testing.T) {
	reasons, err := readEquivalent(filepath.Join("../..", equivalentFile))
	require.NoError(t, err)
	for key := range reasons {
		f := bytes.Split([]byte(key), []byte("\t"))
		require.FileExists(t, filepath.Join("../..", string(f[0]), string(f[1])), key)
	}
}
