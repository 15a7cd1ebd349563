package main

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestPipe: a node that asks in its own time gets the plant's readings, group by group.
func TestPipe(t *testing.T) {
	var in, out bytes.Buffer
	for tick := range 2300 { // 23 s
		fmt.Fprintln(&in, int64(tick)*10e6, 60, 0, 0, 0, 0, 1, 0, 0, hydraulics)
	}
	fmt.Fprintln(&in, int64(23e9), 0, 0, 0, 0, 0, 1, 0, 0, hydraulics|electrics|scale|ambient)
	require.NoError(t, pipe(asked{seed: 1, kind: "reference"}, &in, &out))
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	require.Len(t, lines, 2301)
	var first, last, gauge float64
	_, err := fmt.Sscan(lines[0], &first, &gauge)
	require.NoError(t, err)
	require.InDelta(t, 98.9, gauge, 2, "kPa absolute, vented")
	_, err = fmt.Sscan(lines[2300], &last, &gauge)
	require.NoError(t, err)
	require.Greater(t, gauge, 700.0)
	require.Len(t, strings.Fields(lines[2300]), 16)

	for _, bad := range []string{"x", "1 2 3", "nan 0 0 0 0 0 0 0 0 0", "11000000000 0 0 0 0 0 0 0 0 1",
		"-5 0 0 0 0 0 0 0 0 1"} {
		require.Error(t, pipe(asked{seed: 1, kind: "reference"}, strings.NewReader(bad+"\n"), &out), bad)
	}
}

// FuzzPipe: no line of a node breaks the plant.
func FuzzPipe(f *testing.F) {
	f.Add("10000000 60 0 0 0 0 1 0 0 15")
	f.Add("1 NaN -1e300 7 -3 2 9 1 1 255")
	f.Fuzz(func(_ *testing.T, line string) {
		var out bytes.Buffer
		_ = pipe(asked{seed: 1, kind: "reference"}, strings.NewReader(line), &out)
	})
}
