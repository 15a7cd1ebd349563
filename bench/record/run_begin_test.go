package record_test

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/record"
)

// TestBegin_RefusesUnsignedRecords: records of an earlier holdfast are said to be that, and no folder is left behind.
func TestBegin_RefusesUnsignedRecords(t *testing.T) {
	out := t.TempDir()
	old := filepath.Join(out, "20250101T000000Z-A")
	require.NoError(t, os.Mkdir(old, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(old, record.ResultFile), []byte("{}"), 0o644))
	_, err := open(t, out).Begin(context.Background(), record.Beginning{Serial: "A", Now: noon})
	require.ErrorIs(t, err, record.ErrUnsigned)
	folders, err := filepath.Glob(filepath.Join(out, "*-A"))
	require.NoError(t, err)
	require.Equal(t, []string{old}, folders)
}
