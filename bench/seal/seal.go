package seal

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"time"

	"holdfast/bench/disk"
)

// Schema names the form of a statement.
const Schema = "holdfast-seal-1"

// Ends of the names of a seal's two files.
const (
	StatementTail = ".seal.json"
	SignatureTail = ".seal.sig"
)

// piece is the size of a part with a hash of its own, in bytes: a change is named to within one.
const piece = 64 << 10

// Statement is what is signed.
type Statement struct {
	Schema  string            `json:"schema"`
	Name    string            `json:"name"`    // run, certificate, judgement-2 ...
	About   map[string]string `json:"about"`   // run, serial, verdict ...: what a reader wants to know first
	Sealed  time.Time         `json:"sealed"`  // by this computer's clock
	Version string            `json:"version"` // of holdfast
	Key     string            `json:"key"`     // public, base64 of its 32 bytes
	Files   []File            `json:"files"`
}

// File is one sealed file.
type File struct {
	Name   string   `json:"name"` // beside the statement, without a folder
	Size   int64    `json:"size"`
	SHA256 string   `json:"sha256"`
	Pieces []string `json:"pieces"` // first 8 bytes of the SHA-256 of each 64 KiB
}

// Make seals files of a folder under a name and returns the hash of the statement: the one number that
// stands for all of them.
func Make(dir string, s Statement, names []string, key Key) (hash string, err error) {
	s.Schema, s.Sealed = Schema, s.Sealed.UTC()
	s.Key = Text(key.Public())
	s.Files = make([]File, 0, len(names))
	for _, name := range names {
		f, err := digest(dir, name)
		if err != nil {
			return "", fmt.Errorf("seal %s: %w", name, err)
		}
		s.Files = append(s.Files, f)
	}
	text, err := json.MarshalIndent(s, "", " ")
	if err != nil {
		return "", fmt.Errorf("seal %s: %w", s.Name, err)
	}
	text = append(text, '\n')
	signature := base64.StdEncoding.EncodeToString(ed25519.Sign(key.private, text)) + "\n"
	err = disk.ReplaceText(filepath.Join(dir, s.Name+StatementTail), 0o644, text)
	if err == nil {
		err = disk.ReplaceText(filepath.Join(dir, s.Name+SignatureTail), 0o644, []byte(signature))
	}
	if err != nil {
		return "", fmt.Errorf("seal %s: %w", s.Name, err)
	}
	return Hash(text), nil
}

// Hash returns the SHA-256 of a statement in hexadecimal.
func Hash(text []byte) string {
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

// HashOf returns the hash of a folder's statement of that name.
func HashOf(dir, name string) (string, error) {
	text, err := disk.ReadFile(filepath.Join(dir, name+StatementTail), maxStatement)
	if err != nil {
		return "", fmt.Errorf("read the seal: %w", err)
	}
	return Hash(text), nil
}

func digest(dir, name string) (File, error) {
	f := File{Name: name, Pieces: []string{}}
	if name != filepath.Base(name) {
		return f, errors.New("not a plain file name")
	}
	file, err := disk.Open(filepath.Join(dir, name))
	if err != nil {
		return f, err
	}
	defer file.Close()
	whole := sha256.New()
	buf := make([]byte, piece)
	for {
		n, err := io.ReadFull(file, buf)
		if n > 0 {
			sum := sha256.Sum256(buf[:n])
			f.Pieces = append(f.Pieces, hex.EncodeToString(sum[:8]))
			whole.Write(buf[:n])
			f.Size += int64(n)
		}
		if err == io.EOF || err == io.ErrUnexpectedEOF {
			f.SHA256 = hex.EncodeToString(whole.Sum(nil))
			return f, nil
		}
		if err != nil {
			return f, err
		}
	}
}

// HashFile returns the SHA-256 of a whole file in hexadecimal.
func HashFile(path string) (string, error) {
	f, err := digest(filepath.Dir(path), filepath.Base(path))
	if err != nil {
		return "", fmt.Errorf("hash %s: %w", path, err)
	}
	return f.SHA256, nil
}
