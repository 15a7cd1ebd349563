package seal_test

import (
	"crypto/ed25519"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/seal"
)

// blocked returns a path in which no folder can be made: a file stands there.
func blocked(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(path, []byte("no folder"), 0o644))
	return path
}

func strangersKey(t *testing.T) (k seal.Key, path string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), seal.KeyFile)
	k, err := seal.OpenKey(path)
	require.NoError(t, err)
	return k, path
}

func TestUserRing(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", "/somewhere")
	r, err := seal.UserRing()
	require.NoError(t, err)
	require.Equal(t, "/somewhere/holdfast", r.Dir())
	require.Equal(t, "/somewhere/holdfast/signing.pub", r.PublicPath())
	t.Setenv("XDG_CONFIG_HOME", "")
	t.Setenv("HOME", "")
	_, err = seal.UserRing()
	require.ErrorContains(t, err, "set HOME or XDG_CONFIG_HOME")
}

// The own key is made once, readable by its owner alone, and is what Have and Known return.
func TestRing_Own(t *testing.T) {
	r := seal.RingAt(filepath.Join(t.TempDir(), "deep", "ring"))
	_, err := r.Have()
	require.ErrorIs(t, err, fs.ErrNotExist)
	known, err := r.Known()
	require.NoError(t, err)
	require.Empty(t, known)
	require.Empty(t, r.Loose(), "there is no key that others could read")
	k, err := r.Own()
	require.NoError(t, err)
	again, err := r.Own()
	require.NoError(t, err)
	require.Equal(t, k.Public(), again.Public())
	had, err := r.Have()
	require.NoError(t, err)
	require.Equal(t, k.Public(), had.Public())
	known, err = r.Known()
	require.NoError(t, err)
	require.Contains(t, known, k.Public())
	public, err := seal.ReadPublic(r.PublicPath())
	require.NoError(t, err)
	require.Equal(t, k.Public(), public)

	require.Empty(t, r.Loose())
	for mode, loose := range map[fs.FileMode]bool{0o600: false, 0o400: false, 0o640: true, 0o604: true, 0o601: true} {
		require.NoError(t, os.Chmod(filepath.Join(r.Dir(), seal.KeyFile), mode))
		require.Equal(t, loose, strings.Contains(r.Loose(), fmt.Sprintf("mode %04o", mode)), "%v: %q", mode, r.Loose())
	}
	_, err = seal.RingAt(blocked(t)).Own()
	require.ErrorContains(t, err, "make the folder for the signing key")
}

// Another's private key becomes the own one where there is none, and nothing replaces one that is there.
func TestRing_Adopt(t *testing.T) {
	stranger, path := strangersKey(t)
	r := seal.RingAt(filepath.Join(t.TempDir(), "ring"))
	k, err := r.Adopt(path)
	require.NoError(t, err)
	require.Equal(t, stranger.Public(), k.Public())
	public, err := seal.ReadPublic(r.PublicPath())
	require.NoError(t, err)
	require.Equal(t, stranger.Public(), public)
	_, second := strangersKey(t)
	k, err = r.Adopt(second)
	require.NoError(t, err)
	require.Equal(t, stranger.Public(), k.Public(), "the first stays")

	_, err = r.Adopt(filepath.Join(t.TempDir(), "none"))
	require.ErrorIs(t, err, fs.ErrNotExist)
	_, err = seal.RingAt(blocked(t)).Adopt(path)
	require.ErrorContains(t, err, "make the folder for the signing key")
	broken := seal.RingAt(t.TempDir())
	require.NoError(t, os.WriteFile(filepath.Join(broken.Dir(), seal.KeyFile), []byte("no key"), 0o600))
	_, err = broken.Adopt(path)
	require.ErrorContains(t, err, "no PEM file")
	_, err = broken.Known()
	require.ErrorContains(t, err, "no PEM file", "a ring whose own key cannot be read knows nobody")
}

// Others' keys are known when they were trusted, up to as many as a ring may hold, and one that cannot be read is said.
func TestRing_Trust(t *testing.T) {
	r := seal.RingAt(t.TempDir())
	own, err := r.Own()
	require.NoError(t, err)
	stranger, _ := strangersKey(t)
	require.NoError(t, r.Trust(stranger.Public()))
	known, err := r.Known()
	require.NoError(t, err)
	require.Contains(t, known, stranger.Public())
	require.Contains(t, known, own.Public())
	require.Equal(t, stranger.Public(), known[len(known)-1])

	require.ErrorContains(t, seal.RingAt(blocked(t)).Trust(stranger.Public()), "keep the key")
	trusted := filepath.Join(r.Dir(), "trusted")
	for i := 1; i < 200; i++ {
		require.NoError(t, copyFile(r.PublicPath(), filepath.Join(trusted, fmt.Sprintf("%03d.pub", i))))
	}
	_, err = r.Known()
	require.NoError(t, err, "200 keys are looked through")
	extra := filepath.Join(trusted, "one-more.pub")
	require.NoError(t, copyFile(r.PublicPath(), extra))
	_, err = r.Known()
	require.ErrorContains(t, err, "holds 201 keys: more than 200")
	require.NoError(t, os.WriteFile(extra, []byte("no key"), 0o644))
	require.NoError(t, os.Remove(filepath.Join(trusted, "001.pub")))
	_, err = r.Known()
	require.ErrorContains(t, err, "one-more.pub")
}

func copyFile(from, to string) error {
	text, err := os.ReadFile(from)
	if err != nil {
		return err
	}
	return os.WriteFile(to, text, 0o644)
}

// A folder of records holds up to 200 public keys, those of earlier keys among them.
func TestPublicFiles_Bound(t *testing.T) {
	dir := t.TempDir()
	_, path := strangersKey(t)
	public := strings.TrimSuffix(path, ".key") + ".pub"
	for i := range 200 {
		require.NoError(t, copyFile(public, filepath.Join(dir, fmt.Sprintf("signing-%03d.pub", i))))
	}
	names, err := seal.PublicFiles(dir)
	require.NoError(t, err)
	require.Len(t, names, 200)
	require.NoError(t, copyFile(public, filepath.Join(dir, "signing-more.pub")))
	_, err = seal.PublicFiles(dir)
	require.ErrorContains(t, err, "holds 201 public keys")
	_, err = seal.RingAt(dir).Known()
	require.ErrorContains(t, err, "holds 201 public keys")
}

func TestFromText(t *testing.T) {
	k, _ := strangersKey(t)
	require.Equal(t, k.Public(), seal.FromText(seal.Text(k.Public())))
	require.Nil(t, seal.FromText("no base64!"))
	require.Nil(t, seal.FromText(seal.Text(k.Public()[:ed25519.PublicKeySize-1])))
	require.Nil(t, seal.FromText(""))
}

// What was last seen of a book is told for its own folder, and else the furthest that was seen anywhere.
func TestRing_Heads(t *testing.T) {
	r := seal.RingAt(filepath.Join(t.TempDir(), "ring"))
	here, seen, err := r.Heads("/records", "book")
	require.NoError(t, err)
	require.Nil(t, here)
	require.Nil(t, seen)
	keep := func(path, book string, number int64) *seal.Head {
		h := seal.Head{Book: book, Path: path, Number: number, Hash: fmt.Sprint("hash ", number)}
		require.NoError(t, r.KeepHead(h))
		return &h
	}
	first := keep("/records", "book", 1) // one entry is a book
	here, seen, err = r.Heads("/records", "book")
	require.NoError(t, err)
	require.Equal(t, first, here)
	require.Equal(t, first, seen)
	other := keep("/records", "another", 30) // the folder holds another book now
	keep("/copy", "book", 7)
	far := keep("/moved", "book", 9)
	keep("/third", "book", 8)
	here, seen, err = r.Heads("/records", "book")
	require.NoError(t, err)
	require.Equal(t, other, here)
	require.Equal(t, far, seen)
	here, seen, err = r.Heads("/nowhere", "book")
	require.NoError(t, err)
	require.Nil(t, here)
	require.Equal(t, far, seen)

	dir := filepath.Join(r.Dir(), "heads")
	for _, text := range []string{"no json", `{"book":"book","number":0}`} {
		entries, err := os.ReadDir(dir)
		require.NoError(t, err)
		for _, e := range entries {
			require.NoError(t, os.WriteFile(filepath.Join(dir, e.Name()), []byte(text), 0o600))
		}
		here, seen, err = r.Heads("/records", "book")
		require.NoError(t, err)
		require.Nil(t, here, text)
		require.Nil(t, seen, text)
	}
	require.ErrorContains(t, seal.RingAt(blocked(t)).KeepHead(*first), "keep the book's head")
	bad := seal.RingAt(t.TempDir())
	require.NoError(t, os.WriteFile(filepath.Join(bad.Dir(), "heads"), nil, 0o644))
	_, _, err = bad.Heads("/records", "book")
	require.Error(t, err)
	require.NotErrorIs(t, err, fs.ErrNotExist)
}

// A seal that cannot be read is no seal that fits.
func TestVerify_Unreadable(t *testing.T) {
	dir, key := sealed(t)
	_, err := seal.HashOf(dir, "none")
	require.ErrorIs(t, err, fs.ErrNotExist)
	_, err = seal.Verify(dir, "none", nil)
	require.ErrorIs(t, err, seal.ErrNoSeal)
	hash, err := seal.HashOf(dir, "run")
	require.NoError(t, err)
	require.Equal(t, hash, verify(t, dir, key).Hash)
	path := filepath.Join(dir, "run"+seal.StatementTail)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	write := func(text string) *seal.Answer {
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
		return verify(t, dir, key)
	}
	require.Contains(t, write(strings.Replace(string(text), seal.Schema, "another/1", 1)).Signature, "cannot be read")
	require.Contains(t, write(strings.Replace(string(text), seal.Text(key.Public()), "AAAA", 1)).Signature, "names no key")
	require.Contains(t, write(strings.Replace(string(text), seal.Text(key.Public()), "no base64!", 1)).Signature, "names no key")
	require.Contains(t, write(`{"files": 3, "schema": "`+seal.Schema+`"}`).Signature, "cannot be read")
	require.NoError(t, os.Remove(path))
	require.NoError(t, os.Mkdir(path, 0o755))
	_, err = seal.Verify(dir, "run", nil)
	require.Error(t, err)
	require.NotErrorIs(t, err, seal.ErrNoSeal, "it is there")
}

// Between which bytes a longer, a shorter and a changed file differ.
func TestVerify_Between(t *testing.T) {
	for _, c := range []struct {
		name     string
		change   func(b []byte) []byte
		from, to int64
	}{
		{"the first byte", func(b []byte) []byte { b[0]++; return b }, 0, 64 << 10},
		{"the last piece", func(b []byte) []byte { b[len(b)-1]++; return b }, 256 << 10, 300 << 10},
		{"in the second piece and longer", func(b []byte) []byte { b[70<<10]++; return append(b, 1) }, 64 << 10, 300<<10 + 1},
		{"longer", func(b []byte) []byte { return append(b, 1) }, 256 << 10, 300<<10 + 1},
		{"cut at a piece", func(b []byte) []byte { return b[:128<<10] }, 128 << 10, 128 << 10},
	} {
		dir, key := sealed(t)
		path := filepath.Join(dir, "run.journal")
		b, err := os.ReadFile(path)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(path, c.change(b), 0o644))
		a := verify(t, dir, key)
		require.Equal(t, seal.Changed, a.Files[0].State, c.name)
		require.Equal(t, [2]int64{c.from, c.to}, [2]int64{a.Files[0].From, a.Files[0].To}, c.name)
	}
}

// What is not there has no hash.
func TestHashFile_Missing(t *testing.T) {
	_, err := seal.HashFile(filepath.Join(t.TempDir(), "none"))
	require.ErrorIs(t, err, fs.ErrNotExist)
}

// One book is forgotten wherever it was seen, another one, and what is no head, stay.
func TestRing_ForgetHeads(t *testing.T) {
	r := seal.RingAt(filepath.Join(t.TempDir(), "ring"))
	require.NoError(t, r.ForgetHeads("book"), "nothing was ever seen")
	for i, h := range []seal.Head{{Book: "book", Path: "/a"}, {Book: "book", Path: "/b"}, {Book: "another", Path: "/c"}} {
		h.Number = int64(i + 1)
		require.NoError(t, r.KeepHead(h))
	}
	odd := filepath.Join(r.Dir(), "heads", "odd.json")
	require.NoError(t, os.WriteFile(odd, []byte("no json"), 0o600))
	require.NoError(t, r.ForgetHeads("book"))
	_, seen, err := r.Heads("/a", "book")
	require.NoError(t, err)
	require.Nil(t, seen)
	here, _, err := r.Heads("/c", "another")
	require.NoError(t, err)
	require.NotNil(t, here)
	require.FileExists(t, odd)
}
