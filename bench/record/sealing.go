package record

import (
	"crypto/ed25519"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"time"

	"holdfast/bench/judge"
	"holdfast/bench/seal"
)

// RunSeal is the name of the seal over a run's record.
const RunSeal = "run"

// runFiles are what a run's seal covers; those that a run does not have are left out.
var runFiles = []string{FramesFile, JournalFile, ResultFile, ReportFile, JUnitFile, PriorsFile}

// SealRun seals a run's files with the key of the out folder, which is made on first use, and returns the
// hash of the statement.
func SealRun(out string, f Folder, res *judge.Result, now time.Time) (hash string, err error) {
	return SealFiles(out, f, RunSeal, runFiles, res, now, nil)
}

// SealFiles seals other files of a run's folder (a certificate, a new judgement) under a name of their
// own, with more about them than the run's.
func SealFiles(out string, f Folder, name string, files []string, res *judge.Result, now time.Time,
	about map[string]string) (hash string, err error) {
	key, err := seal.OpenKey(filepath.Join(out, seal.KeyFile))
	if err != nil {
		return "", err
	}
	said := map[string]string{"run": res.Run, "serial": res.Serial, "verdict": res.Verdict.String()}
	maps.Copy(said, about)
	return seal.Make(f.Path, seal.Statement{Name: name, About: said, Sealed: now, Version: res.Version},
		f.existing(files), key)
}

func (f Folder) existing(names []string) []string {
	var there []string
	for _, name := range names {
		if _, err := os.Stat(filepath.Join(f.Path, name)); err == nil {
			there = append(there, name)
		}
	}
	return there
}

// Verify holds a run's folder against all its seals, the run's own first. keys are those of shops that
// are trusted beside the one of the out folder. stray are files that no seal covers.
func Verify(out string, f Folder, keys ...ed25519.PublicKey) (answers []*seal.Answer, stray []string, err error) {
	own, err := seal.KnownKeys(out)
	if err != nil {
		return nil, nil, err
	}
	keys = append(keys, own...)
	names, err := seal.Names(f.Path)
	if err != nil {
		return nil, nil, err
	}
	covered := map[string]bool{}
	for _, name := range append([]string{RunSeal}, names...) {
		if name == RunSeal && len(answers) > 0 {
			continue // it came first
		}
		a, err := seal.Verify(f.Path, name, keys)
		if err != nil {
			return answers, nil, err
		}
		answers = append(answers, a)
		covered[name+seal.StatementTail], covered[name+seal.SignatureTail] = true, true
		for _, c := range a.Files {
			covered[c.Name] = true
		}
	}
	stray, err = strays(f.Path, covered)
	return answers, stray, err
}

func strays(dir string, covered map[string]bool) (names []string, err error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("look through the folder: %w", err)
	}
	for _, e := range entries {
		if !covered[e.Name()] {
			names = append(names, e.Name())
		}
	}
	return names, nil
}

// NeverSealed is Tampered's answer for a run without a seal.
const NeverSealed = "never sealed"

// Tampered verifies a run: "" when it is as it was sealed with the out folder's key, NeverSealed, or what
// is wrong in words.
func Tampered(out string, f Folder) string {
	answers, _, err := Verify(out, f)
	if errors.Is(err, seal.ErrNoSeal) {
		return NeverSealed
	}
	if err != nil {
		return err.Error()
	}
	for _, a := range answers {
		if wrong := wrongIn(a); wrong != "" {
			return wrong
		}
	}
	return ""
}

// wrongIn says what is wrong with what a seal covers; "" when nothing is.
func wrongIn(a *seal.Answer) string {
	for _, c := range a.Files {
		if c.State != seal.Unchanged {
			return fmt.Sprintf("%s is %s", c.Name, c.State)
		}
	}
	if a.Signature != seal.SignatureGood {
		return fmt.Sprintf("the signature of the seal %s %s", a.Name, a.Signature)
	}
	if !a.Known {
		return fmt.Sprintf("the seal %s is by a key that is not this shop's (%s)", a.Name, a.Key)
	}
	return ""
}
