package record_test

import (
	"context"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/judge"
	"holdfast/bench/record"
)

// The index is lost; the folders bring it back.
func TestStore_Reindex(t *testing.T) {
	out, ctx := t.TempDir(), context.Background()
	s := open(t, out)
	for i, serial := range []string{"A", "A", "B/7"} {
		f, err := record.NewFolder(out, serial, noon.AddDate(0, 0, i))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(f.Journal(), nil, 0o644))
		res := result(f.Run, serial, noon.AddDate(0, 0, i), judge.Fail)
		require.NoError(t, f.Write(record.ResultFile, func(w io.Writer) error { return json.NewEncoder(w).Encode(res) }))
		require.NoError(t, s.Add(ctx, res, f.Path))
	}
	require.NoError(t, os.Mkdir(filepath.Join(out, "holiday pictures"), 0o755))
	broken, err := record.NewFolder(out, "broken", noon)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(broken.Journal(), []byte("no journal"), 0o644))
	before, err := s.Runs(ctx, "")
	require.NoError(t, err)
	require.NoError(t, s.Add(ctx, result("gone", "C", noon, judge.Pass), filepath.Join(out, "gone")))

	n, bad, err := s.Reindex(ctx)
	require.NoError(t, err)
	require.Equal(t, 3, n)
	require.Len(t, bad, 1)
	require.ErrorContains(t, bad[0], broken.Run)
	after, err := s.Runs(ctx, "")
	require.NoError(t, err)
	require.Equal(t, before, after)
	require.Equal(t, "B/7", after[0].Serial)
}
