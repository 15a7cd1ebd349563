package seal

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"encoding/hex"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"holdfast/bench/disk"
)

// maxKey bounds a key's file, in bytes; a real one is some hundreds.
const maxKey = 16 << 10

// Names of a key's two files in its folder.
const (
	KeyFile    = "signing.key" // private, PKCS #8 in PEM, readable by its owner only
	PublicFile = "signing.pub" // SubjectPublicKeyInfo in PEM
)

// Key signs.
type Key struct{ private ed25519.PrivateKey }

// Public returns the key that verifies.
func (k Key) Public() ed25519.PublicKey { return k.private.Public().(ed25519.PublicKey) }

// Sign signs a text.
func (k Key) Sign(text []byte) (signature []byte) { return ed25519.Sign(k.private, text) }

// OpenKey reads the private key at path and makes one when there is none, with its public half beside it.
// Two processes that make one at once end up with the same.
func OpenKey(path string) (Key, error) {
	k, err := readKey(path)
	if !errors.Is(err, fs.ErrNotExist) {
		return k, err
	}
	_, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return Key{}, fmt.Errorf("make a signing key: %w", err)
	}
	if err := writeKey(path, private); err != nil {
		return Key{}, fmt.Errorf("keep the new signing key: %w", err)
	}
	if k, err = readKey(path); err != nil { // ours, or that of a process that was faster
		return Key{}, err
	}
	return k, writePublic(publicPath(path), k.Public())
}

// writePublic keeps a public key beside its private one. That of an earlier key (the records were
// restored without it) gets another name and stays known: what it sealed can still be verified.
func writePublic(path string, key ed25519.PublicKey) error {
	if old, err := ReadPublic(path); err == nil && !old.Equal(key) {
		kept := strings.TrimSuffix(path, ".pub") + "-" + Fingerprint(old) + ".pub"
		if err := os.Rename(path, kept); err != nil {
			return fmt.Errorf("keep the earlier public key: %w", err)
		}
	}
	der, err := x509.MarshalPKIXPublicKey(key)
	if err != nil {
		return err
	}
	return disk.ReplaceText(path, 0o644, pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: der}))
}

// PublicFiles returns the names of a folder's public keys: the present one and earlier ones.
func PublicFiles(dir string) ([]string, error) {
	found, err := filepath.Glob(filepath.Join(escape(dir), "signing*.pub"))
	if len(found) > mostKeys {
		return nil, fmt.Errorf("%s holds %d public keys: more than %d are not looked through", dir, len(found), mostKeys)
	}
	for i := range found {
		found[i] = filepath.Base(found[i])
	}
	return found, err
}

// KnownKeys returns the folder's own public keys.
func KnownKeys(dir string) ([]ed25519.PublicKey, error) {
	names, err := PublicFiles(dir)
	var keys []ed25519.PublicKey
	for _, name := range names {
		k, failed := ReadPublic(filepath.Join(dir, name))
		err = errors.Join(err, failed)
		keys = append(keys, k)
	}
	return keys, err
}

func publicPath(path string) string { return strings.TrimSuffix(path, filepath.Ext(path)) + ".pub" }

func readKey(path string) (Key, error) {
	text, err := disk.ReadFile(path, maxKey)
	if err != nil {
		return Key{}, fmt.Errorf("read the signing key: %w", err)
	}
	block, _ := pem.Decode(text)
	if block == nil || block.Type != "PRIVATE KEY" {
		return Key{}, fmt.Errorf("read the signing key %s: it is no PEM file with a PRIVATE KEY", path)
	}
	key, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	if err != nil {
		return Key{}, fmt.Errorf("read the signing key %s: %w", path, err)
	}
	private, ok := key.(ed25519.PrivateKey)
	if !ok {
		return Key{}, fmt.Errorf("read the signing key %s: it is no Ed25519 key", path)
	}
	return Key{private}, nil
}

// writeKey puts the key at path unless something is there already, whole or not at all.
func writeKey(path string, private ed25519.PrivateKey) error {
	der, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		return err
	}
	tmp, err := os.CreateTemp(filepath.Dir(path), "."+KeyFile+".*") // made with mode 0600
	if err != nil {
		return err
	}
	defer os.Remove(tmp.Name())
	if err := errors.Join(pem.Encode(tmp, &pem.Block{Type: "PRIVATE KEY", Bytes: der}), tmp.Sync(),
		tmp.Close()); err != nil {
		return err
	}
	err = os.Link(tmp.Name(), path)
	if err != nil && !errors.Is(err, fs.ErrExist) {
		err = os.Rename(tmp.Name(), path) // a file system without links (a memory stick)
	}
	if errors.Is(err, fs.ErrExist) {
		return nil // another process was faster
	}
	return err
}

// ReadPublic reads a public key file.
func ReadPublic(path string) (ed25519.PublicKey, error) {
	text, err := disk.ReadFile(path, maxKey)
	if err != nil {
		return nil, fmt.Errorf("read the public key: %w", err)
	}
	block, _ := pem.Decode(text)
	if block == nil {
		return nil, fmt.Errorf("read the public key %s: it is no PEM file", path)
	}
	key, err := x509.ParsePKIXPublicKey(block.Bytes)
	if err != nil {
		return nil, fmt.Errorf("read the public key %s: %w", path, err)
	}
	public, ok := key.(ed25519.PublicKey)
	if !ok {
		return nil, fmt.Errorf("read the public key %s: it is no Ed25519 key", path)
	}
	return public, nil
}

// Fingerprint is a key's short name: the first 8 bytes of its SHA-256 in hexadecimal.
func Fingerprint(key ed25519.PublicKey) string {
	sum := sha256.Sum256(key)
	return hex.EncodeToString(sum[:8])
}
