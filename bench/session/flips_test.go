package session

import (
	"bytes"
	"context"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/record"
	"holdfast/bench/seal"
)

// Every bit that is turned in any file of a sealed run is found. The one place without meaning is the end of the line
// in the file of the signature.
func TestBitFlips(t *testing.T) {
	store := t.TempDir()
	run := begin(t, config(t, store))
	performed(t, run)
	result, err := run.Judge()
	require.NoError(t, err)
	require.NoError(t, run.PutAway(context.Background(), result))
	trust, err := record.NewTrust(store)
	require.NoError(t, err)
	require.Empty(t, trust.Tampered(run.Folder))
	random := rand.New(rand.NewPCG(20261201, 2))
	const each = 60
	for _, name := range []string{record.FramesFile, record.JournalFile, record.ResultFile, record.ReportFile, record.JUnitFile,
		record.RunSeal + seal.StatementTail, record.RunSeal + seal.SignatureTail} {
		path := filepath.Join(run.Folder.Path, name)
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		for range each {
			b, at, bit := bytes.Clone(text), random.IntN(len(text)), random.IntN(8)
			b[at] ^= 1 << bit
			if name == record.RunSeal+seal.SignatureTail && len(bytes.TrimSpace(b)) < len(b) && at == len(b)-1 {
				continue
			}
			require.NoError(t, os.WriteFile(path, b, 0o644))
			require.NotEmpty(t, trust.Tampered(run.Folder), "%s, byte %d, bit %d", name, at, bit)
		}
		require.NoError(t, os.WriteFile(path, text, 0o644))
	}
	require.Empty(t, trust.Tampered(run.Folder))
}
