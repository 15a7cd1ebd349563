package seal

import (
	"bytes"
	"crypto/ed25519"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"

	"holdfast/bench/disk"
)

// State is what became of a sealed file.
type State string

const (
	Unchanged State = "unchanged"
	Changed   State = "changed"
	Missing   State = "missing"
)

// Check is the answer for one file. From and To bound what was changed, in bytes of the file as it is
// now; a file that is only longer or shorter is changed from the shorter length on.
type Check struct {
	Name  string `json:"file"`
	State State  `json:"state"`
	From  int64  `json:"from,omitempty"`
	To    int64  `json:"to,omitempty"`
}

// Answer is what Verify found.
type Answer struct {
	Statement Statement `json:"-"`
	Name      string    `json:"seal"`
	Hash      string    `json:"sha256"`              // of the statement as it is now
	Signature string    `json:"signature"`           // good, or what is wrong with it
	Key       string    `json:"key"`                 // fingerprint of the key that the statement names
	Known     bool      `json:"known_key"`           // it is one of those that were asked for
	Misplaced string    `json:"misplaced,omitempty"` // why it does not belong where it lies, by who knows the place
	Files     []Check   `json:"files"`
}

// Good says that nothing was changed, that a known key signed it and that it lies where it belongs.
func (a *Answer) Good() bool {
	for _, f := range a.Files {
		if f.State != Unchanged {
			return false
		}
	}
	return a.Signature == SignatureGood && a.Known && a.Misplaced == ""
}

// SignatureGood is the word for a signature that holds.
const SignatureGood = "good"

// ErrNoSeal says that there is no such seal in the folder.
var ErrNoSeal = errors.New("it was never sealed, or its seal was taken away")

// maxStatement bounds a statement, in bytes: the pieces of 8 GiB of files.
const maxStatement = 8 << 20

// Verify holds the files of a folder against a seal. err says that there is no seal that could be read;
// what is wrong with the files is in the answer.
func Verify(dir, name string, known []ed25519.PublicKey) (*Answer, error) {
	path := filepath.Join(dir, name+StatementTail)
	text, err := disk.ReadFile(path, maxStatement)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("verify %s: %w", filepath.Join(dir, name), ErrNoSeal)
	}
	if err != nil {
		return nil, fmt.Errorf("verify %s: %w", path, err)
	}
	a := &Answer{Name: name, Hash: Hash(text), Files: []Check{}}
	a.signature(text, filepath.Join(dir, name+SignatureTail), known)
	d := json.NewDecoder(bytes.NewReader(text))
	if err := d.Decode(&a.Statement); err != nil || a.Statement.Schema != Schema {
		a.Signature = fmt.Sprintf("the statement cannot be read (%v)", err)
		return a, nil
	}
	for _, f := range a.Statement.Files {
		c, err := check(dir, f)
		if err != nil {
			return nil, fmt.Errorf("verify %s: %w", f.Name, err)
		}
		a.Files = append(a.Files, c)
	}
	return a, nil
}

// signature holds the statement against the key that it names, and that key against the known ones.
func (a *Answer) signature(text []byte, path string, known []ed25519.PublicKey) {
	var named struct{ Key string }
	if json.Unmarshal(text, &named) != nil {
		a.Signature = "the statement was changed: it is no JSON"
		return
	}
	key, err := base64.StdEncoding.DecodeString(named.Key)
	if err != nil || len(key) != ed25519.PublicKeySize {
		a.Signature = "the statement was changed: it names no key"
		return
	}
	a.Key = Fingerprint(key)
	for _, k := range known {
		a.Known = a.Known || k.Equal(ed25519.PublicKey(key))
	}
	encoded, err := disk.ReadFile(path, maxKey)
	if err != nil {
		a.Signature = "missing"
		return
	}
	sig, err := base64.StdEncoding.DecodeString(strings.TrimSpace(string(encoded)))
	if err != nil || len(sig) != ed25519.SignatureSize || !ed25519.Verify(key, text, sig) {
		a.Signature = "does not fit: the statement or the signature was changed"
		return
	}
	a.Signature = SignatureGood
}

func check(dir string, want File) (Check, error) {
	c := Check{Name: want.Name, State: Unchanged}
	if want.Name != filepath.Base(want.Name) {
		c.State = Missing // no folder but this one is looked into
		return c, nil
	}
	got, err := digest(dir, want.Name)
	if errors.Is(err, fs.ErrNotExist) {
		c.State = Missing
		return c, nil
	}
	if err != nil {
		return c, err
	}
	if got.SHA256 != want.SHA256 || got.Size != want.Size {
		c.State = Changed
		c.From, c.To = changed(want, got)
	}
	return c, nil
}

// changed bounds the difference by the pieces that differ.
func changed(want, got File) (from, to int64) {
	n := min(len(want.Pieces), len(got.Pieces))
	first, last := -1, -1
	for i := range n {
		if want.Pieces[i] != got.Pieces[i] {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	if want.Size != got.Size {
		if first < 0 {
			first = n
		}
		return min(int64(first)*piece, want.Size, got.Size), got.Size
	}
	if first < 0 { // the statement contradicts itself: nothing of the file can be trusted
		return 0, got.Size
	}
	return int64(first) * piece, min(int64(last+1)*piece, got.Size)
}

// Names returns the seals in a folder.
func Names(dir string) ([]string, error) {
	found, err := filepath.Glob(filepath.Join(escape(dir), "*"+StatementTail))
	names := make([]string, len(found))
	for i, f := range found {
		names[i] = strings.TrimSuffix(filepath.Base(f), StatementTail)
	}
	return names, err
}

// escape keeps a folder's own name from being read as a pattern.
func escape(dir string) string {
	return strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`).Replace(dir)
}
