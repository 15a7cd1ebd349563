package rigfile_test

import (
	"bytes"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig/rigfile"
)

func TestParse_VerifyEvery(t *testing.T) {
	const folder = "../../../scenarios/rigs/"
	text, err := os.ReadFile(folder + "bench-node.yaml")
	require.NoError(t, err)
	dbc := func(name string) ([]byte, error) { return os.ReadFile(folder + name) }
	r, err := rigfile.Parse("r.yaml", text, dbc)
	require.NoError(t, err)
	require.Equal(t, 12*time.Hour, r.VerifyEvery, "the shipped rig has it on")
	r, err = rigfile.Parse("r.yaml", bytes.Replace(text, []byte("verify_every: 12 h "), []byte("verify_every: 8 h "), 1), dbc)
	require.NoError(t, err)
	require.Equal(t, 8*time.Hour, r.VerifyEvery)
	_, err = rigfile.Parse("r.yaml", bytes.Replace(text, []byte("verify_every: 12 h "), []byte("verify_every: 0 h "), 1), dbc)
	require.ErrorContains(t, err, "verify_every: 0 h; it must be above 0")
}
