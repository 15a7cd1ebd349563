package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// written puts text into a file of its own folder.
func written(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

// SPN 1208 FMI 3 as version 1 writes it (worked example C16), and a signal of one's own.
func TestDecode_WhatThePersonKnows(t *testing.T) {
	log := written(t, "bus.log", "(1.000000) can0 18FECA00#04FF0097038AFFFF\n(1.100000) can0 18FF0211#D007FFFFFFFFFFFF\n")
	own := written(t, "own.dbc", "BO_ 2566849278 Own: 8 N\n SG_ Line : 0|16@1+ (0.05,0) [0|3212.75] \"kPa\" N\n"+
		"BO_ 5 Eleven: 8 N\n SG_ X : 0|8@1+ (1,0) [0|0] \"\" N\n")
	status, out, errOut := holdfast("decode", log, "--dbc", own, "--conversion", "0=1")
	require.Equal(t, exitDone, status, errOut)
	require.Contains(t, out, "SPN 1208 FMI 3 x10 (old form, read as version 1)")
	require.Contains(t, out, "Line 100 kPa")
	require.Contains(t, errOut, "1 messages with 11-bit identifiers are not read")
	_, out, _ = holdfast("decode", log)
	require.Contains(t, out, "SPN 38656 FMI 3", "version 3 unless stated: worked example C16")
	for _, flags := range [][]string{{"--conversion", "4"}, {"--dbc", log}, {"--dbc", own + ".not"}} {
		status, _, errOut = holdfast(append([]string{"decode", log}, flags...)...)
		require.Equal(t, exitUsage, status)
		require.Contains(t, errOut, flags[0])
	}
}
