package journal_test

import (
	"bytes"
	"crypto/ed25519"
	"encoding/binary"
	"hash/crc32"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/journal"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/j1939/spn"
)

// key is a signer made from a number, so that a test's bytes are always the same.
type key struct{ ed25519.PrivateKey }

func testKey(n byte) key {
	return key{ed25519.NewKeyFromSeed(bytes.Repeat([]byte{n}, ed25519.SeedSize))}
}

func (k key) Public() ed25519.PublicKey   { return k.PrivateKey.Public().(ed25519.PublicKey) }
func (k key) Sign(text []byte) (s []byte) { return ed25519.Sign(k.PrivateKey, text) }

// signedRun writes a run of ten seconds, and where each of its seconds ends in the file.
func signedRun(t testing.TB) (m *journal.Memory, ends []int) {
	m = &journal.Memory{}
	w, err := journal.NewSigned(m, header(), testKey(1))
	require.NoError(t, err)
	ends = append(ends, len(m.Bytes()))
	for i := range 100 {
		at := t0.Add(time.Duration(i) * 100 * time.Millisecond)
		require.NoError(t, w.Reading(rig.Reading{Time: at, Value: float64(i), Channel: rig.LinePressure, Status: spn.Valid}))
		require.NoError(t, w.Tick(at))
		if n := len(m.Bytes()); n != ends[len(ends)-1] {
			ends = append(ends, n)
		}
	}
	require.NoError(t, w.End(t0.Add(10*time.Second), samples.Completed, 0))
	require.NoError(t, w.Close())
	return m, append(ends, len(m.Bytes()))
}

func TestSigned_ReadsAsWritten(t *testing.T) {
	m, ends := signedRun(t)
	h, rec, err := journal.Read(bytes.NewReader(m.Bytes()))
	require.NoError(t, err)
	require.Equal(t, testKey(1).Public(), h.Key)
	h.Key = nil
	require.Equal(t, header(), h)
	require.Equal(t, samples.Completed, rec.Ended)
	require.Len(t, rec.Channels[rig.LinePressure].V, 100)
	require.Len(t, ends, 1+10+1, "the header, every second and the end are signed")
}

// Cut at any byte, a signed journal reads as what the last whole signature covers, and says so.
func TestSigned_TruncatedAtEveryByte(t *testing.T) {
	m, ends := signedRun(t)
	whole := m.Bytes()
	for n := range whole {
		h, rec, err := journal.Read(bytes.NewReader(whole[:n]))
		if n < ends[0] {
			require.ErrorIs(t, err, journal.ErrHeader, "cut at %d", n)
			continue
		}
		require.NoError(t, err, "cut at %d", n)
		covered := 0
		for covered+1 < len(ends) && ends[covered+1] <= n {
			covered++
		}
		want := 0
		if covered > 0 {
			want = 1 + 10*(covered-1)
		}
		require.Len(t, rec.Channels[rig.LinePressure].V, want, "cut at %d", n)
		require.Equal(t, samples.Interrupted, rec.Ended)
		require.Equal(t, int64(n-ends[covered]), h.Tail.Unreadable)
		require.Equal(t, h.Tail.Unreadable > 0, h.Tail.Why != "")
	}
}

// rechain changes a byte and makes every checksum good again, as somebody without the key can.
func rechain(whole []byte, at int) []byte {
	b := bytes.Clone(whole)
	b[at] ^= 1
	const magicAndVersion, head = 12, 12
	for i := magicAndVersion; i+head <= len(b); {
		n := int(binary.LittleEndian.Uint32(b[i:]))
		if i+head+n > len(b) {
			break
		}
		sum := crc32.Checksum(b[i:i+8], crc32.MakeTable(crc32.Castagnoli))
		sum = crc32.Update(sum, crc32.MakeTable(crc32.Castagnoli), b[i+head:i+head+n])
		binary.LittleEndian.PutUint32(b[i+8:], sum)
		i += head + n
	}
	return b
}

// Whatever byte somebody changes, with checksums made good or not: nothing from the change on is believed.
func TestSigned_NothingChangedIsBelieved(t *testing.T) {
	m, ends := signedRun(t)
	whole := m.Bytes()
	for at := 0; at < len(whole); at += 3 {
		flipped := bytes.Clone(whole)
		flipped[at] ^= 1 << (at % 8)
		for _, b := range [][]byte{flipped, rechain(whole, at)} {
			if bytes.Equal(b, whole) {
				continue // the change was in a checksum, and was mended
			}
			h, rec, err := journal.Read(bytes.NewReader(b))
			if at < ends[0] {
				require.ErrorIs(t, err, journal.ErrHeader, "byte %d", at)
				continue
			}
			require.NoError(t, err)
			require.Equal(t, samples.Interrupted, rec.Ended, "byte %d", at)
			require.NotEmpty(t, h.Tail.Why)
			before := 0
			for before+1 < len(ends) && ends[before+1] <= at {
				before++
			}
			require.LessOrEqual(t, h.Tail.Unreadable, int64(len(whole)-ends[before]))
			require.GreaterOrEqual(t, h.Tail.Unreadable, int64(len(whole)-at))
		}
	}
}

// Blocks of one run do not fit into another, and the end of one run cannot be put behind another's beginning.
func TestSigned_PiecesDoNotMix(t *testing.T) {
	m, ends := signedRun(t)
	whole := m.Bytes()
	swapped := append(bytes.Clone(whole[:ends[2]]), whole[ends[3]:ends[4]]...)
	swapped = append(swapped, whole[ends[2]:ends[3]]...)
	swapped = append(swapped, whole[ends[4]:]...)
	left := append(bytes.Clone(whole[:ends[2]]), whole[ends[3]:]...)
	for name, b := range map[string][]byte{"two seconds in the wrong order": swapped, "a second left out": left} {
		_, rec, err := journal.Read(bytes.NewReader(b))
		require.NoError(t, err)
		require.Equal(t, samples.Interrupted, rec.Ended, name)
		require.Len(t, rec.Channels[rig.LinePressure].V, 11, name)
	}
}

func FuzzReadSigned(f *testing.F) {
	m, ends := signedRun(f)
	f.Add(m.Bytes())
	f.Add(m.Bytes()[:ends[3]+5])
	f.Fuzz(func(t *testing.T, b []byte) {
		h, rec, err := journal.Read(bytes.NewReader(b))
		if err == nil && testKey(1).Public().Equal(h.Key) && rec.Ended != samples.Interrupted {
			require.Equal(t, m.Bytes(), b[:len(m.Bytes())], "the key signed one run only")
		}
	})
}

// What signing adds to a second of a run, and reading it back to a run of ten minutes.
func BenchmarkSignedSecond(b *testing.B) {
	for name, k := range map[string]journal.Signer{"unsigned": nil, "signed": testKey(1)} {
		b.Run(name, func(b *testing.B) {
			w, err := journal.NewSigned(discard{}, header(), k)
			require.NoError(b, err)
			i := 0
			for b.Loop() {
				for range 500 {
					i++
					at := t0.Add(time.Duration(i) * 2 * time.Millisecond)
					_ = w.Reading(rig.Reading{Time: at, Value: 9, Channel: rig.LinePressure, Status: spn.Valid})
					_ = w.Tick(at)
				}
			}
		})
	}
}
