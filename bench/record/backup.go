package record

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"holdfast/bench/seal"
)

// Copied says what a backup did.
type Copied struct{ Copied, There int }

// BackUpAll copies the records to another folder: run folders that are not there yet, the book, the public
// key and a copy of the index. A run that is there already must be the same, file by file; the first that
// differs is an error and stays as it is in both places.
func (s *Store) BackUpAll(ctx context.Context, to string) (n Copied, err error) {
	if err := os.MkdirAll(to, 0o755); err != nil {
		return n, fmt.Errorf("back up: %w", err)
	}
	if n, err = copyRuns(s.out, to); err != nil {
		return n, fmt.Errorf("back up: %w", err)
	}
	if err := copyBook(s.out, to); err != nil {
		return n, fmt.Errorf("back up: %w", err)
	}
	tmp := filepath.Join(to, "."+IndexFile)
	_ = os.Remove(tmp) // of a backup that was cut short
	if err := s.BackUp(ctx, tmp); err != nil {
		return n, err
	}
	return n, os.Rename(tmp, filepath.Join(to, IndexFile))
}

// Restore copies a backup into out, which must hold no records. The index is left out: it is made again
// from what was restored.
func Restore(from, out string) error {
	if _, err := os.Stat(filepath.Join(from, BookFile)); err != nil {
		if folders, _ := filepath.Glob(filepath.Join(from, "*", JournalFile)); len(folders) == 0 {
			return fmt.Errorf("restore: %s holds no records", from)
		}
	}
	entries, err := os.ReadDir(out)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("restore: %w", err)
	}
	if len(entries) > 0 {
		return fmt.Errorf("restore: %s is not empty; name an empty folder with --out", out)
	}
	if err := os.MkdirAll(out, 0o755); err != nil {
		return fmt.Errorf("restore: %w", err)
	}
	_, err = copyRuns(from, out)
	if err = errors.Join(err, copyBook(from, out)); err != nil {
		return fmt.Errorf("restore: %w", err)
	}
	return nil
}

// copyBook copies the book and the public keys.
func copyBook(from, to string) error {
	names, err := seal.PublicFiles(from)
	for _, name := range append(names, BookFile) {
		err = errors.Join(err, copyOver(from, to, name))
	}
	return err
}

// copyRuns copies the folders of runs and of watches that are not at the target yet. Each is copied under
// another name and then renamed, so that a copy is whole or not there. Only runs are counted.
func copyRuns(from, to string) (n Copied, err error) {
	entries, err := os.ReadDir(from)
	if err != nil {
		return n, err
	}
	var watches Copied
	for _, d := range entries {
		src, dst := filepath.Join(from, d.Name()), filepath.Join(to, d.Name())
		_, noRun := OpenFolder(src)
		if !d.IsDir() || noRun != nil && !isWatch(src) {
			continue // of something else
		}
		into := &n
		if noRun != nil {
			into = &watches
		}
		if _, err := os.Stat(dst); err == nil {
			added, err := refresh(src, dst)
			if err != nil {
				return n, err
			}
			if added {
				into.Copied++
			} else {
				into.There++
			}
			continue
		}
		tmp := filepath.Join(to, "."+d.Name())
		if err := errors.Join(os.RemoveAll(tmp), os.CopyFS(tmp, os.DirFS(src)), os.Rename(tmp, dst)); err != nil {
			return n, err
		}
		into.Copied++
	}
	return n, nil
}

// refresh copies the files that a run has got since (a later judgement, a certificate) and holds the
// others against their copies.
func refresh(src, dst string) (added bool, err error) {
	files, err := os.ReadDir(src)
	if err != nil {
		return false, err
	}
	for _, f := range files {
		a, b := filepath.Join(src, f.Name()), filepath.Join(dst, f.Name())
		if _, err := os.Stat(b); errors.Is(err, fs.ErrNotExist) {
			added = true
			if err := copyOver(src, dst, f.Name()); err != nil {
				return added, err
			}
			continue
		}
		same, err := sameFile(a, b)
		if err != nil {
			return added, err
		}
		if !same {
			return added, fmt.Errorf("%s differs from its backup %s: one of them was changed; "+
				"holdfast verify says which", a, b)
		}
	}
	return added, nil
}

// isWatch tells the folder of a watch on the vehicle.
func isWatch(path string) bool {
	_, err := os.Stat(filepath.Join(path, WatchSeal+seal.StatementTail))
	return err == nil && strings.HasPrefix(filepath.Base(path), VehicleFolder)
}

func sameFile(a, b string) (bool, error) {
	x, errX := os.ReadFile(a)
	y, errY := os.ReadFile(b)
	return bytes.Equal(x, y), errors.Join(errX, errY)
}

// copyOver copies one file, whole or not at all; one that is not there is no error.
func copyOver(from, to, name string) error {
	f, err := os.Open(filepath.Join(from, name))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	defer f.Close()
	return WriteFile(filepath.Join(to, name), func(w io.Writer) error {
		_, err := io.Copy(w, f)
		return err
	})
}
