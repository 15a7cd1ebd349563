package record

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/seal"
)

// What a release reads of the book of a store with 100,000 runs, 50 of them of the unit.
func BenchmarkRelease_LargeBook(b *testing.B) {
	ring := seal.RingAt(b.TempDir())
	key, err := ring.Own()
	require.NoError(b, err)
	at := time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)
	first, err := newLine(1, seal.Hash(nil), "book", &Note{Kind: NoteBegin, Time: at, Begin: &Begin{Public: seal.Text(key.Public())}}, key)
	require.NoError(b, err)
	text, prev := append(first.text, '\n'), first.Hash
	const runs = 100_000
	for i := range runs {
		serial := fmt.Sprintf("HF-%d", i%(runs/50))
		for j, n := range []Note{{Kind: NoteOpened, Time: at, Serial: serial, Run: fmt.Sprintf("r%d", i), Visit: "V1", Opened: &Opened{
			Scenario: "release", ScenarioHash: seal.Hash(nil), RigHash: seal.Hash(nil), Rig: "bench-node", Bus: "can0"}},
			{Kind: NoteBooked, Time: at, Serial: serial, Run: fmt.Sprintf("r%d", i), Booked: &Booked{Seal: seal.Hash(nil), Verdict: "pass"}}} {
			l, err := newLine(int64(2+2*i+j), prev, "book", &n, key)
			require.NoError(b, err)
			text, prev = append(append(text, l.text...), '\n'), l.Hash
		}
	}
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		book := proveBook(text, nil)
		require.Len(b, book.Lines, 1+2*runs)
		book.stay("HF-7")
	}
}
