package main

import (
	"bytes"
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// BenchmarkRelease is a whole release test in virtual time, from the command line to the sealed record: the bar is
// 0.3 s of CPU. cpu-s/op is what the process used, user and system, on however many cores.
func BenchmarkRelease(b *testing.B) {
	var before, after unix.Rusage
	out := b.TempDir()
	require.NoError(b, unix.Getrusage(unix.RUSAGE_SELF, &before))
	for b.Loop() {
		var sink bytes.Buffer
		status := execute(context.Background(), []string{"run", "release", "--rig", "bench-node", "--bus", "sim",
			"--serial", "HF-BENCH", "--yes", "--out", out}, strings.NewReader(""), &sink, &sink)
		require.Equal(b, exitDone, status, sink.String())
	}
	require.NoError(b, unix.Getrusage(unix.RUSAGE_SELF, &after))
	b.ReportMetric(time.Duration(cpuSpent(&after)-cpuSpent(&before)).Seconds()/float64(b.N), "cpu-s/op")
}

func cpuSpent(r *unix.Rusage) int64 { return r.Utime.Nano() + r.Stime.Nano() }
