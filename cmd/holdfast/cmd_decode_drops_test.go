package main

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

// What the kernel dropped before is not ours; without a count there is nothing to say.
func TestKernelDrops(t *testing.T) {
	d := kernelDrops{path: written(t, "rx_dropped", "7\n")}
	d.first = d.read()
	require.Empty(t, d.said())
	require.NoError(t, os.WriteFile(d.path, []byte("12\n"), 0o600))
	require.Contains(t, d.said(), "5 frames DROPPED")
	require.Empty(t, kernelDrops{}.said())
	require.Empty(t, watchDrops("no-such-interface").said())
}
