package record_test

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/record"
)

// Records that cannot be written are read all the same, with their index, with one that does not fit and with none,
// and nothing in the folder changes.
func TestOpenReadOnly(t *testing.T) {
	out, ctx := t.TempDir(), context.Background()
	bookOf(t, out)
	files := func() (all []string) {
		entries, err := os.ReadDir(out)
		require.NoError(t, err)
		for _, e := range entries {
			info, err := e.Info()
			require.NoError(t, err)
			all = append(all, e.Name()+" "+info.ModTime().String())
		}
		return all
	}
	index := filepath.Join(out, record.IndexFile)
	for _, change := range []func(){
		func() {},
		func() { require.NoError(t, os.WriteFile(index, []byte("no index"), 0o644)) },
		func() { require.NoError(t, os.Remove(index)) },
	} {
		change()
		before := files()
		s, err := record.OpenReadOnly(index)
		require.NoError(t, err)
		in, err := s.InShop(ctx)
		require.NoError(t, err)
		require.Len(t, in, 5)
		require.NoError(t, s.Close())
		require.Equal(t, before, files())
	}
}
