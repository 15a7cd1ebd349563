package record

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"holdfast/bench/disk"
)

// Names of the files in a run's folder.
const (
	FramesFile  = "frames.pcapng"
	JournalFile = "run.journal"
	ResultFile  = "result.json"
	ReportFile  = "report.html"
	JUnitFile   = "junit.xml"
)

const (
	maxSerialInName = 40  // bytes of a serial in a folder's name
	maxSameName     = 999 // runs of one serial in one second
)

// Folder is one run's folder.
type Folder struct {
	Run  string // the run's id: the folder's own name
	Path string
}

// DefaultOut returns the out folder when the person names none: holdfast/runs in the user's data
// folder ($XDG_DATA_HOME, by default ~/.local/share; XDG Base Directory Specification 0.8).
func DefaultOut() (string, error) {
	data := os.Getenv("XDG_DATA_HOME")
	if !filepath.IsAbs(data) { // the specification: relative paths are to be ignored
		home, err := os.UserHomeDir()
		if err != nil {
			return "", fmt.Errorf("find the folder for runs: %w; name one with --out", err)
		}
		data = filepath.Join(home, ".local", "share")
	}
	return filepath.Join(data, "holdfast", "runs"), nil
}

// NewFolder makes the folder of a new run under out, and out itself when it is missing. The run's id is
// the time in UTC, so that ids sort by time, and as much of the serial as is safe in a file name; the
// true serial is in the journal. The folder is made exclusively: two processes never share one.
func NewFolder(out, serial string, now time.Time) (Folder, error) {
	return newFolder(out, now.UTC().Format("20060102T150405Z")+"-"+safeName(serial))
}

// newFolder makes a folder under out by that name, or by that name and a number.
func newFolder(out, id string) (Folder, error) {
	if err := os.MkdirAll(out, 0o755); err != nil {
		return Folder{}, fmt.Errorf("make the folder for runs: %w", err)
	}
	for n := 1; n <= maxSameName; n++ {
		run := id
		if n > 1 {
			run = fmt.Sprintf("%s-%d", id, n)
		}
		path := filepath.Join(out, run)
		err := disk.Mkdir(path)
		if err == nil {
			return Folder{Run: run, Path: path}, nil
		}
		if !errors.Is(err, fs.ErrExist) {
			return Folder{}, fmt.Errorf("make the run's folder: %w", err)
		}
	}
	return Folder{}, fmt.Errorf("make the run's folder: %d runs of this serial in one second", maxSameName)
}

// safeName keeps the letters, digits and marks of a serial that every file system takes; each run
// of anything else (separators, control characters, dots in a row, other scripts) becomes one underscore.
func safeName(serial string) string {
	var b strings.Builder
	var last rune
	for _, r := range serial {
		if b.Len() == maxSerialInName {
			break
		}
		letter := r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-'
		switch {
		case letter, r == '.' && last != 0 && last != '_' && last != '.':
			last = r
			b.WriteRune(r)
		case last != '_':
			last = '_'
			b.WriteRune(last)
		}
	}
	if name := strings.TrimRight(b.String(), "."); name != "" {
		return name
	}
	return "no-serial"
}

// OpenFolder returns the folder of a finished or interrupted run at path.
func OpenFolder(path string) (Folder, error) {
	f := Folder{Path: path}
	if _, err := os.Stat(f.Journal()); err != nil {
		return Folder{}, fmt.Errorf("%s is no run's folder: %w", path, err)
	}
	abs, err := filepath.Abs(path)
	if err != nil {
		return Folder{}, err
	}
	f.Run = filepath.Base(abs)
	return f, nil
}

// Frames returns the path of the capture.
func (f Folder) Frames() string { return filepath.Join(f.Path, FramesFile) }

// Journal returns the path of the journal.
func (f Folder) Journal() string { return filepath.Join(f.Path, JournalFile) }

// Result returns the path of the judgement.
func (f Folder) Result() string { return filepath.Join(f.Path, ResultFile) }

// Write makes or replaces one file of the folder, by its plain name, whole or not at all: what is there
// is what it was before until everything new is on the disk.
func (f Folder) Write(name string, write func(io.Writer) error) error {
	if name != filepath.Base(name) {
		return fmt.Errorf("write %q: not a plain file name", name)
	}
	return WriteFile(filepath.Join(f.Path, name), write)
}

// WriteFile makes or replaces the file at path, whole or not at all.
func WriteFile(path string, write func(io.Writer) error) error {
	return disk.Replace(path, 0o644, write)
}

// Resolve finds the run that a person means: the path of its folder, its id, or the start of its id
// when only one run in out begins with it.
func Resolve(out, ref string) (Folder, error) {
	if strings.ContainsRune(ref, filepath.Separator) || ref == "." || ref == ".." {
		return OpenFolder(ref)
	}
	if f, err := OpenFolder(filepath.Join(out, ref)); err == nil && ref != "" {
		return f, nil
	}
	entries, err := os.ReadDir(out)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return Folder{}, fmt.Errorf("look for run %s: %w", ref, err)
	}
	var found []string
	for _, e := range entries {
		if e.IsDir() && ref != "" && strings.HasPrefix(e.Name(), ref) {
			found = append(found, e.Name())
		}
	}
	switch len(found) {
	case 1:
		return OpenFolder(filepath.Join(out, found[0]))
	case 0:
		if f, err := OpenFolder(ref); err == nil && ref != "" {
			return f, nil
		}
		return Folder{}, fmt.Errorf("%w %q in %s; holdfast history lists them", ErrNoRun, ref, out)
	}
	return Folder{}, fmt.Errorf("%w with %q: %s", ErrManyRuns, ref, someOf(found))
}

// Failures of looking for a run.
var (
	ErrNoRun    = errors.New("no run")
	ErrManyRuns = errors.New("several runs begin")
)

// someOf lists the first few names.
func someOf(names []string) string {
	const few = 4
	if len(names) <= few {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:few], ", "), len(names)-few)
}
