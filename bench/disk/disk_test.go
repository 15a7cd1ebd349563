package disk_test

import (
	"errors"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/disk"
)

func TestOpen_RefusesWhatIsNoPlainFile(t *testing.T) {
	dir := t.TempDir()
	plain := filepath.Join(dir, "plain")
	require.NoError(t, os.WriteFile(plain, []byte("abc"), 0o644))
	require.NoError(t, os.Symlink(plain, filepath.Join(dir, "link")))
	require.NoError(t, syscall.Mkfifo(filepath.Join(dir, "pipe"), 0o644))
	for _, name := range []string{"link", "pipe", "."} {
		_, err := disk.ReadFile(filepath.Join(dir, name), 10)
		require.ErrorIs(t, err, disk.ErrNotPlain, name)
	}
	for _, name := range []string{"link", "pipe"} {
		_, err := disk.Locked(filepath.Join(dir, name))
		require.ErrorIs(t, err, disk.ErrNotPlain, name)
	}
	_, err := disk.ReadFile(plain, 2)
	require.ErrorIs(t, err, disk.ErrLarge)
	text, err := disk.ReadFile(plain, 3)
	require.NoError(t, err)
	require.Equal(t, "abc", string(text))
}

// Stopped in front of any step, a replaced file is what it was or what it is to be, and never a piece.
func TestReplace_StoppedAnywhere(t *testing.T) {
	path := filepath.Join(t.TempDir(), "file")
	dead := errors.New("killed")
	for n := 0; ; n++ {
		require.NoError(t, os.WriteFile(path, []byte("old"), 0o644))
		steps := 0
		restore := disk.Inject(func(disk.Op, string) error {
			if steps++; steps > n {
				return dead
			}
			return nil
		})
		err := disk.ReplaceText(path, 0o644, []byte("new text"))
		restore()
		text, failed := os.ReadFile(path)
		require.NoError(t, failed)
		if err == nil {
			require.Equal(t, "new text", string(text))
			require.GreaterOrEqual(t, n, 5, "create, write, sync, rename, sync of the folder")
			return
		}
		require.ErrorIs(t, err, dead)
		require.Contains(t, []string{"old", "new text"}, string(text))
	}
}

func TestHold(t *testing.T) {
	dir := t.TempDir()
	f, err := disk.Hold(dir)
	require.NoError(t, err)
	_, err = disk.Hold(dir)
	require.ErrorIs(t, err, disk.ErrHeld)
	require.NoError(t, f.Close())
	f, err = disk.Hold(dir)
	require.NoError(t, err)
	require.NoError(t, f.Close())
}
