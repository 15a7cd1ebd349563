package main

import (
	"bytes"
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// holdfast runs one command line as a person types it, in this process.
func holdfast(args ...string) (status int, out, errOut string) {
	var o, e bytes.Buffer
	status = execute(context.Background(), args, strings.NewReader(""), &o, &e)
	return status, o.String(), e.String()
}

// must runs a command line that has to end with a status, and returns what it printed.
func must(t *testing.T, status int, args ...string) string {
	t.Helper()
	got, out, errOut := holdfast(args...)
	require.Equal(t, status, got, "%v: %s%s", args, out, errOut)
	return out + errOut
}
