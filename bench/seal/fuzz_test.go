package seal_test

import (
	"crypto/ed25519"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/seal"
)

// Whatever stands in a folder as a statement and a signature: an answer or an error, and never "good"
// unless it is what the key signed.
func FuzzVerify(f *testing.F) {
	dir := f.TempDir()
	key, err := seal.OpenKey(filepath.Join(dir, seal.KeyFile))
	require.NoError(f, err)
	require.NoError(f, os.WriteFile(filepath.Join(dir, "a.txt"), []byte("a"), 0o644))
	_, err = seal.Make(dir, seal.Statement{Name: "run"}, []string{"a.txt"}, key)
	require.NoError(f, err)
	text, err := os.ReadFile(filepath.Join(dir, "run"+seal.StatementTail))
	require.NoError(f, err)
	sig, err := os.ReadFile(filepath.Join(dir, "run"+seal.SignatureTail))
	require.NoError(f, err)
	f.Add(text, sig)
	f.Add([]byte(`{"schema":"holdfast-seal-1","files":[{"name":"../../etc/passwd"},{"name":".."}]}`), []byte("AAAA"))
	f.Add([]byte(`{"key":"AA==","files":null}`), []byte{})
	f.Fuzz(func(t *testing.T, statement, signature []byte) {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "run"+seal.StatementTail), statement, 0o644))
		require.NoError(t, os.WriteFile(filepath.Join(dir, "run"+seal.SignatureTail), signature, 0o644))
		a, err := seal.Verify(dir, "run", []ed25519.PublicKey{key.Public()})
		if err == nil && a.Good() {
			require.Equal(t, string(text), string(statement))
		}
	})
}
