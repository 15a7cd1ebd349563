package seal_test

import (
	"bytes"
	"crypto/ed25519"
	"encoding/base64"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/seal"
)

var noon = time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)

// sealed makes a folder with two files under seal.
func sealed(t *testing.T) (dir string, key seal.Key) {
	t.Helper()
	dir = t.TempDir()
	big := make([]byte, 300<<10)
	for i := range big {
		big[i] = byte(i * 7)
	}
	require.NoError(t, os.WriteFile(filepath.Join(dir, "run.journal"), big, 0o644))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "result.json"), []byte(`{"verdict":"fail"}`), 0o644))
	key, err := seal.OpenKey(filepath.Join(dir, seal.KeyFile))
	require.NoError(t, err)
	_, err = seal.Make(dir, seal.Statement{Name: "run", About: map[string]string{"run": "r1"}, Sealed: noon},
		[]string{"run.journal", "result.json"}, key)
	require.NoError(t, err)
	return dir, key
}

func verify(t *testing.T, dir string, key seal.Key) *seal.Answer {
	t.Helper()
	a, err := seal.Verify(dir, "run", []ed25519.PublicKey{key.Public()})
	require.NoError(t, err)
	return a
}

// Any one bit of any sealed file, of the statement or of the signature: found, and the file is named
// with a stretch that holds the place.
func TestVerify_FindsAnyChangedBit(t *testing.T) {
	dir, key := sealed(t)
	require.True(t, verify(t, dir, key).Good())
	random := rand.New(rand.NewPCG(3, 4))
	for _, name := range []string{"run.journal", "result.json", "run.seal.json", "run.seal.sig"} {
		path := filepath.Join(dir, name)
		whole, err := os.ReadFile(path)
		require.NoError(t, err)
		places := []int{0, len(whole) - 1}
		for range 40 {
			places = append(places, random.IntN(len(whole)))
		}
		for _, at := range places {
			b := bytes.Clone(whole)
			b[at] ^= 1 << random.IntN(8)
			if name == "run.seal.sig" && at == len(b)-1 {
				b[at] = 'x' // the line's end is white space: only another character is a change
			}
			require.NoError(t, os.WriteFile(path, b, 0o644))
			a := verify(t, dir, key)
			require.False(t, a.Good(), "%s at %d", name, at)
			for _, f := range a.Files {
				if f.Name == name {
					require.Equal(t, seal.Changed, f.State)
					require.True(t, f.From <= int64(at) && int64(at) < f.To && f.To-f.From <= 64<<10,
						"%+v holds %d", f, at)
				}
			}
		}
		require.NoError(t, os.WriteFile(path, whole, 0o644))
	}
	require.True(t, verify(t, dir, key).Good())
}

func TestVerify_LongerShorterMissing(t *testing.T) {
	dir, key := sealed(t)
	path := filepath.Join(dir, "run.journal")
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, append(bytes.Clone(whole), 0), 0o644))
	f := verify(t, dir, key).Files[0]
	require.Equal(t, seal.Changed, f.State)
	require.LessOrEqual(t, f.From, int64(len(whole)))
	require.NoError(t, os.Truncate(path, 1000))
	f = verify(t, dir, key).Files[0]
	require.Equal(t, seal.Check{Name: "run.journal", State: seal.Changed, From: 0, To: 1000}, f)
	require.NoError(t, os.Remove(path))
	require.Equal(t, seal.Missing, verify(t, dir, key).Files[0].State)
	require.NoError(t, os.Remove(filepath.Join(dir, "run.seal.sig")))
	require.Equal(t, "missing", verify(t, dir, key).Signature)
	require.NoError(t, os.Remove(filepath.Join(dir, "run.seal.json")))
	_, err = seal.Verify(dir, "run", nil)
	require.ErrorIs(t, err, seal.ErrNoSeal)
}

// Whoever changes a file and seals it again needs the key: another one is not known.
func TestVerify_AnotherKeyIsNotKnown(t *testing.T) {
	dir, key := sealed(t)
	other, err := seal.OpenKey(filepath.Join(t.TempDir(), "other.key"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "result.json"), []byte(`{"verdict":"pass"}`), 0o644))
	_, err = seal.Make(dir, seal.Statement{Name: "run"}, []string{"run.journal", "result.json"}, other)
	require.NoError(t, err)
	a := verify(t, dir, key)
	require.Equal(t, seal.SignatureGood, a.Signature)
	require.False(t, a.Known)
	require.False(t, a.Good())
	require.Equal(t, seal.Fingerprint(other.Public()), a.Key)
}

func TestOpenKey_IsKeptAndPrivate(t *testing.T) {
	path := filepath.Join(t.TempDir(), seal.KeyFile)
	first, err := seal.OpenKey(path)
	require.NoError(t, err)
	again, err := seal.OpenKey(path)
	require.NoError(t, err)
	require.Equal(t, first.Public(), again.Public())
	public, err := seal.ReadPublic(filepath.Join(filepath.Dir(path), seal.PublicFile))
	require.NoError(t, err)
	require.Equal(t, first.Public(), public)
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	require.NoError(t, os.WriteFile(path, []byte("rubbish"), 0o600))
	_, err = seal.OpenKey(path)
	require.ErrorContains(t, err, "PRIVATE KEY", "a damaged key is never replaced in silence")
}

// The outside view: OpenSSL accepts the signature with the public key file, and refuses it after a change;
// sha256sum agrees with the hashes.
func TestSeal_OpenSSLAgrees(t *testing.T) {
	openssl, err := exec.LookPath("openssl")
	if err != nil {
		t.Skip("openssl is not installed: the signature is not checked by another program")
	}
	dir, key := sealed(t)
	encoded, err := os.ReadFile(filepath.Join(dir, "run.seal.sig"))
	require.NoError(t, err)
	raw, err := base64.StdEncoding.DecodeString(string(bytes.TrimSpace(encoded)))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "sig.bin"), raw, 0o644))
	run := func() error {
		return exec.Command(openssl, "pkeyutl", "-verify", "-pubin", "-inkey", filepath.Join(dir,
			seal.PublicFile), "-rawin",
			"-in", filepath.Join(dir, "run.seal.json"), "-sigfile", filepath.Join(dir, "sig.bin")).Run()
	}
	require.NoError(t, run())
	text, err := os.ReadFile(filepath.Join(dir, "run.seal.json"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "run.seal.json"), append(text, ' '), 0o644))
	require.Error(t, run())
	require.NoError(t, os.WriteFile(filepath.Join(dir, "run.seal.json"), text, 0o644))
	if sum, err := exec.LookPath("sha256sum"); err == nil {
		out, err := exec.Command(sum, filepath.Join(dir, "run.journal")).Output()
		require.NoError(t, err)
		require.Equal(t, string(out[:64]), verify(t, dir, key).Statement.Files[0].SHA256)
	}
}
