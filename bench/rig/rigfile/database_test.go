package rigfile

import (
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func FuzzDatabase(f *testing.F) {
	dbc, err := os.ReadFile("../../../scenarios/rigs/bench-node.dbc")
	require.NoError(f, err)
	f.Add(dbc)
	f.Add([]byte("BO_ 2365526265 A: 8 N\n SG_ B : 0|16@1+ (1,0) [0|0] \"\" N\n"))
	f.Fuzz(func(t *testing.T, dbc []byte) {
		began := time.Now()
		db, err := readDatabase("x.dbc", dbc)
		if took := time.Since(began); took > 2*time.Second {
			t.Errorf("%d bytes took %s", len(dbc), took)
		}
		require.True(t, (db == nil) != (err == nil))
	})
}
