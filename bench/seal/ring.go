package seal

import (
	"crypto/ed25519"
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"holdfast/bench/disk"
)

// Ring is the keys of a user: the own one, and the public ones of others that the user trusts. It is a folder
// of the user's configuration and never lies among the records: what is judged cannot bring its own judge.
type Ring struct{ dir string }

// trusted is the folder of others' public keys in a ring.
const trusted = "trusted"

// mostKeys bounds how many keys a ring may hold: looking through more would only cost time.
const mostKeys = 200

// UserRing returns the ring of the user who runs the program: holdfast in the user's configuration folder
// ($XDG_CONFIG_HOME, by default ~/.config).
func UserRing() (*Ring, error) {
	dir, err := os.UserConfigDir()
	if err != nil {
		return nil, fmt.Errorf("find the folder for the signing key: %w; set HOME or XDG_CONFIG_HOME", err)
	}
	return RingAt(filepath.Join(dir, "holdfast")), nil
}

// RingAt returns the ring of a folder.
func RingAt(dir string) *Ring { return &Ring{dir} }

// Dir returns the ring's folder.
func (r *Ring) Dir() string { return r.dir }

// PublicPath returns where the own public key lies, to be handed to others.
func (r *Ring) PublicPath() string { return filepath.Join(r.dir, PublicFile) }

// Own returns the own key, which is made on first use.
func (r *Ring) Own() (Key, error) {
	if err := os.MkdirAll(r.dir, 0o700); err != nil {
		return Key{}, fmt.Errorf("make the folder for the signing key: %w", err)
	}
	return OpenKey(filepath.Join(r.dir, KeyFile))
}

// Have returns the own key; fs.ErrNotExist when none was made yet.
func (r *Ring) Have() (Key, error) { return readKey(filepath.Join(r.dir, KeyFile)) }

// Adopt takes another private key as the own one, where there is none yet.
func (r *Ring) Adopt(from string) (Key, error) {
	k, err := readKey(from)
	if err != nil {
		return k, err
	}
	if err := os.MkdirAll(r.dir, 0o700); err != nil {
		return k, fmt.Errorf("make the folder for the signing key: %w", err)
	}
	path := filepath.Join(r.dir, KeyFile)
	if err := writeKey(path, k.private); err != nil {
		return k, err
	}
	if k, err = readKey(path); err != nil {
		return k, err
	}
	return k, writePublic(publicPath(path), k.Public())
}

// Retire keeps another private key that shall sign nothing any more, and trusts what it has signed.
func (r *Ring) Retire(from string) (ed25519.PublicKey, error) {
	k, err := readKey(from)
	if err != nil {
		return nil, err
	}
	if err := writeKey(filepath.Join(r.dir, "retired-"+Fingerprint(k.Public())+".key"), k.private); err != nil {
		return nil, err
	}
	return k.Public(), r.Trust(k.Public())
}

// Known returns the keys that are trusted: the own one, those it followed, and others'.
func (r *Ring) Known() ([]ed25519.PublicKey, error) {
	keys, err := KnownKeys(r.dir)
	if err != nil {
		return nil, err
	}
	switch own, err := r.Have(); {
	case err == nil:
		keys = append(keys, own.Public())
	case !errors.Is(err, fs.ErrNotExist):
		return nil, err
	}
	others, err := filepath.Glob(filepath.Join(escape(r.dir), trusted, "*.pub"))
	if err != nil || len(others) > mostKeys {
		return nil, errors.Join(err, fmt.Errorf("%s holds %d keys: more than %d are not looked through",
			filepath.Join(r.dir, trusted), len(others), mostKeys))
	}
	for _, path := range others {
		k, err := ReadPublic(path)
		if err != nil {
			return nil, err
		}
		keys = append(keys, k)
	}
	return keys, nil
}

// Trust keeps another's public key as a trusted one.
func (r *Ring) Trust(key ed25519.PublicKey) error {
	dir := filepath.Join(r.dir, trusted)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("keep the key: %w", err)
	}
	return writePublic(filepath.Join(dir, Fingerprint(key)+".pub"), key)
}

// Loose says what is wrong with how the private key lies on the disk; "" when nothing is.
func (r *Ring) Loose() string {
	path := filepath.Join(r.dir, KeyFile)
	info, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) || err != nil {
		return ""
	}
	if info.Mode().Perm()&0o077 != 0 {
		return fmt.Sprintf("others can read your signing key %s (mode %04o): chmod 600 it; who has read it can sign "+
			"in your name", path, info.Mode().Perm())
	}
	return ""
}

// Text writes a public key as text for statements and books.
func Text(key ed25519.PublicKey) string { return base64.StdEncoding.EncodeToString(key) }

// FromText reads a public key from text; nil when it is none.
func FromText(text string) ed25519.PublicKey {
	b, err := base64.StdEncoding.DecodeString(text)
	if err != nil || len(b) != ed25519.PublicKeySize {
		return nil
	}
	return b
}

// Head is how far a user has seen a book: number and hash of its last entry.
type Head struct {
	Book   string `json:"book"` // hash of its first entry
	Path   string `json:"path"` // of the folder that it was seen in
	Number int64  `json:"number"`
	Hash   string `json:"hash"`
}

// heads is the folder, in a ring, of the last entries of the books that its user has seen.
const heads = "heads"

// KeepHead remembers a book's last entry beside the private key, so that a book that became shorter is
// noticed.
func (r *Ring) KeepHead(h Head) error {
	dir := filepath.Join(r.dir, heads)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("keep the book's head: %w", err)
	}
	text, err := jsonLine(h)
	if err != nil {
		return err
	}
	return disk.ReplaceText(filepath.Join(dir, headName(h.Path)), 0o600, text)
}

// ForgetHeads forgets what was seen of a book, wherever that was.
func (r *Ring) ForgetHeads(book string) error {
	entries, err := os.ReadDir(filepath.Join(r.dir, heads))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	for _, e := range entries {
		path := filepath.Join(r.dir, heads, e.Name())
		if h := readHead(path); h != nil && h.Book == book {
			err = errors.Join(err, os.Remove(path))
		}
	}
	return err
}

// Heads returns what the ring remembers of a folder's book, and of a book wherever it was seen.
func (r *Ring) Heads(path, book string) (here, seen *Head, err error) {
	dir := filepath.Join(r.dir, heads)
	if here = readHead(filepath.Join(dir, headName(path))); here != nil && here.Book == book {
		return here, here, nil
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			err = nil
		}
		return nil, nil, err
	}
	for _, e := range entries { // it may have been seen in another place: a copy, or before it was moved
		h := readHead(filepath.Join(dir, e.Name()))
		if h != nil && h.Book == book && (seen == nil || h.Number > seen.Number) {
			seen = h
		}
	}
	return here, seen, nil
}
