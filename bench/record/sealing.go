package record

import (
	"crypto/ed25519"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"time"

	"holdfast/bench/judge"
	"holdfast/bench/seal"
)

// RunSeal is the name of the seal over a run's record.
const RunSeal = "run"

// runFiles are what a run's seal covers; those that a run does not have are left out.
var runFiles = []string{FramesFile, JournalFile, ResultFile, ReportFile, JUnitFile, PriorsFile}

// SealRun seals a run's files with the user's key, which is made on first use, and returns the hash of the
// statement.
func SealRun(out string, f Folder, res *judge.Result, now time.Time) (hash string, err error) {
	return SealFiles(out, f, RunSeal, runFiles, res, now, nil)
}

// SealFiles seals other files of a run's folder (a certificate, a new judgement) under a name of their
// own, with more about them than the run's.
func SealFiles(_ string, f Folder, name string, files []string, res *judge.Result, now time.Time,
	about map[string]string) (hash string, err error) {
	ring, err := seal.UserRing()
	if err != nil {
		return "", err
	}
	return sealWith(ring, f, name, files, res, now, about)
}

// Seal seals files of a run's folder with the key of this store's user; see SealFiles.
func (s *Store) Seal(f Folder, name string, files []string, res *judge.Result, now time.Time,
	about map[string]string) (hash string, err error) {
	return sealWith(s.ring, f, name, files, res, now, about)
}

func sealWith(ring *seal.Ring, f Folder, name string, files []string, res *judge.Result, now time.Time,
	about map[string]string) (hash string, err error) {
	key, err := ring.Own()
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

// Trust is what a user believes about the records of a folder: whose seals, and what the book says.
type Trust struct {
	Keys   []ed25519.PublicKey
	Book   *Book
	booked map[string]string // seal of each booked run; nil until it is asked for
	given  map[string]bool   // certificates; nil until they are asked for
}

// NewTrust reads the book of an out folder. Keys that are given are trusted, and nothing else is; without
// them the user's own are, and those that a book which began with one of these let in. What lies in the folder
// itself is never trusted by itself.
func NewTrust(out string, keys ...ed25519.PublicKey) (*Trust, error) {
	t := &Trust{Keys: keys}
	if len(keys) == 0 {
		ring, err := seal.UserRing()
		if err != nil {
			return nil, err
		}
		if t.Keys, err = ring.Known(); err != nil {
			return nil, err
		}
	}
	var err error
	if t.Book, err = ReadBook(out, t.Keys...); err != nil {
		return nil, err
	}
	if len(keys) == 0 && t.Book.Trusted(t.Keys) {
		for _, a := range t.Book.keys {
			t.Keys = append(t.Keys, a.key)
		}
	}
	return t, nil
}

// sealOf returns the hash of the seal that the book holds of a run; known is false when the book does not know it.
func (t *Trust) sealOf(run string) (hash string, known bool) {
	if t.booked == nil {
		t.booked = map[string]string{}
		for _, kind := range []string{NoteAdopted, NoteBooked} {
			for _, n := range t.Book.Notes(kind) {
				if n.Booked != nil {
					t.booked[n.Run] = n.Booked.Seal
				}
			}
		}
	}
	hash, known = t.booked[run]
	return hash, known
}

// CertificatePrefix begins the names of a certificate's files in the run's folder; its number follows.
const CertificatePrefix = "certificate-"

// gaveOut says whether the book holds a release, or a writing again, with that certificate. Without a book nothing
// can be said against it.
func (t *Trust) gaveOut(number, run, hash string) bool {
	if t.Book.Last() == nil && len(t.Book.Legacy) == 0 {
		return true
	}
	if t.given == nil {
		t.given = map[string]bool{}
		for _, kind := range []string{NoteRelease, NoteReissue} {
			for _, n := range t.Book.Notes(kind) {
				t.given[n.Certificate+" "+n.Run+" "+n.Seal] = true
			}
		}
	}
	return t.given[number+" "+run+" "+hash] || t.given[number+" "+run+" "] // from before the book held the seal
}

// Verify holds a run's folder against all its seals, the run's own first. keys, when there are any, are the only
// ones that are trusted. stray are files that no seal covers.
func Verify(out string, f Folder, keys ...ed25519.PublicKey) (answers []*seal.Answer, stray []string, err error) {
	t, err := NewTrust(out, keys...)
	if err != nil {
		return nil, nil, err
	}
	return t.Verify(f)
}

// Verify holds a run's folder against all its seals and its place: see the function of that name.
func (t *Trust) Verify(f Folder) (answers []*seal.Answer, stray []string, err error) {
	names, err := seal.Names(f.Path)
	if err != nil {
		return nil, nil, err
	}
	covered := map[string]bool{}
	for _, name := range append([]string{RunSeal}, names...) {
		if name == RunSeal && len(answers) > 0 {
			continue // it came first
		}
		a, err := seal.Verify(f.Path, name, t.Keys)
		if err != nil {
			return answers, nil, err
		}
		t.place(f, a)
		answers = append(answers, a)
		covered[name+seal.StatementTail], covered[name+seal.SignatureTail] = true, true
		for _, c := range a.Files {
			covered[c.Name] = true
		}
	}
	stray, err = strays(f.Path, covered)
	return answers, stray, err
}

// place says of a seal whether it belongs where it lies.
func (t *Trust) place(f Folder, a *seal.Answer) {
	if run := a.Statement.About["run"]; run != f.Run {
		a.Misplaced = fmt.Sprintf("it is of run %q, not of this one", run)
		return
	}
	if number, ok := strings.CutPrefix(a.Name, CertificatePrefix); ok && !t.gaveOut(number, f.Run, a.Hash) {
		a.Misplaced = "the book holds no release with this certificate"
	}
	if hash, known := t.sealOf(f.Run); known && a.Name == RunSeal && hash != a.Hash {
		a.Misplaced = "it is not the seal that the book holds of this run"
	}
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

// Tampered verifies a run: "" when it is as it was sealed with a trusted key, NeverSealed, or what is wrong in
// words.
func Tampered(out string, f Folder) string {
	t, err := NewTrust(out)
	if err != nil {
		return err.Error()
	}
	return t.Tampered(f)
}

// Tampered is the function of that name, for many runs.
func (t *Trust) Tampered(f Folder) string {
	answers, _, err := t.Verify(f)
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

// trustedKeys returns the keys whose seals and journals are believed here.
func (s *Store) trustedKeys() ([]ed25519.PublicKey, error) {
	t, err := NewTrust(s.out)
	if err != nil {
		return nil, err
	}
	return t.Keys, nil
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
	if a.Misplaced != "" {
		return fmt.Sprintf("the seal %s: %s", a.Name, a.Misplaced)
	}
	if !a.Known {
		return fmt.Sprintf("the seal %s is by a key that is not this shop's (%s)", a.Name, a.Key)
	}
	return ""
}
