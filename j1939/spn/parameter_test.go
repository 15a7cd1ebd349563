package spn_test

import (
	"encoding/hex"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdfast/j1939/spn"
)

func param(t testing.TB, pgn, number uint32) *spn.Parameter {
	t.Helper()
	m := spn.PGN(pgn)
	require.NotNil(t, m, "PGN %d", pgn)
	p := m.Parameter(number)
	require.NotNil(t, p, "SPN %d in PGN %d", number, pgn)
	return p
}

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	require.NoError(t, err)
	return b
}

// Small fields keep their indicators where their table says, not where their width would.
func TestParameter_StatusOf_TableNotWidth(t *testing.T) {
	for _, c := range []struct {
		pgn, number uint32
		raw         uint64
		want        spn.Status
		text        string
	}{
		{61454, 3223, 2, spn.Valid, "preheat 1"},
		{61454, 3223, 3, spn.Valid, "heater off"}, // not "not available"
		{61443, 5399, 3, spn.Valid, "do not care"},
		{61443, 5399, 2, spn.Reserved, "reserved"},
		{65226, 1213, 2, spn.Reserved, "reserved"},
		{65226, 1213, 3, spn.NotAvailable, "not available (short-circuit/no lamp)"},
		{61443, 558, 2, spn.ErrorState, "error"},
		{61443, 558, 3, spn.NotAvailable, "not available"},
		{61475, 4332, 3, spn.Valid, "system error pending"},
		{61475, 4332, 13, spn.Reserved, "reserved"},
		{61475, 4332, 14, spn.ErrorState, "error"},
		{61475, 4332, 15, spn.NotAvailable, "not available"},
		{61444, 1675, 13, spn.ErrorState, "error (legacy)"},
		{61444, 899, 13, spn.Reserved, "not defined"},
		{61454, 3222, 30, spn.Valid, "reserved"}, // an FMI code
		{61454, 3222, 31, spn.NotAvailable, "condition exists"},
		{33024, 7516, 4, spn.Valid, ""}, // its table was not found: a bare number
		{64828, 5435, 1, spn.Valid, "pump error"},
		{60416, 2570, 16, spn.Reserved, ""}, // no such abort reason
	} {
		p := param(t, c.pgn, c.number)
		require.Equal(t, c.want, p.StatusOf(c.raw), "SPN %d raw %d", c.number, c.raw)
		require.Equal(t, c.text, p.Text(c.raw), "SPN %d raw %d", c.number, c.raw)
	}
}

// SPN 4154 is a number of 4 bits of which half is no number.
func TestParameter_SmallNumber(t *testing.T) {
	p := param(t, 61444, 4154)
	for raw := range uint64(16) {
		_, value, status := p.Decode([]byte{byte(raw) << 4})
		if raw <= 7 {
			require.Equal(t, spn.Valid, status)
			require.Equal(t, float64(raw)*0.125, value)
		} else {
			require.Equal(t, spn.NotAvailable, status)
			require.Zero(t, value)
		}
	}
	require.Equal(t, spn.NotAvailable, param(t, 65226, 1216).StatusOf(127))
	require.Equal(t, spn.Valid, param(t, 65226, 1216).StatusOf(126))
}

// Times have a data range of their own inside the signal range: 60 s is no second.
func TestParameter_DataRange(t *testing.T) {
	seconds := param(t, 65254, 959)
	require.Equal(t, spn.Valid, seconds.StatusOf(239)) // 59.75 s
	require.Equal(t, spn.OutOfRange, seconds.StatusOf(240))
	require.Equal(t, spn.Specific, seconds.StatusOf(0xFB))
	require.Equal(t, spn.Reserved, seconds.StatusOf(0xFC))
	month := param(t, 65254, 963)
	require.Equal(t, spn.OutOfRange, month.StatusOf(0))
	require.Equal(t, spn.Valid, month.StatusOf(12))
	require.Equal(t, spn.Valid, param(t, 60160, 2572).StatusOf(255), "a sequence number has no indicators")
}

// Raw 250 of the local offsets is no offset: the times of the message are local ones. J1939-71, time/date.
func TestParameter_LocalTimes(t *testing.T) {
	for _, number := range []uint32{1601, 1602} {
		offset := param(t, 65254, number)
		require.Equal(t, spn.Specific, offset.StatusOf(250))
		require.Equal(t, "times are local", offset.Text(250))
		require.Equal(t, "times are local", string(offset.AppendWords(nil, 250)))
		require.Equal(t, spn.OutOfRange, offset.StatusOf(249))
		require.Equal(t, "", offset.Text(125))
		require.Equal(t, spn.Valid, offset.StatusOf(125))
	}
}

// All ones of the monitor bytes of DM5 and DM26 are not available, not "all monitors there".
func TestParameter_MonitorsNotAvailable(t *testing.T) {
	require.Equal(t, spn.NotAvailable, param(t, 64952, 3303).StatusOf(0xFF))
	require.Equal(t, spn.NotAvailable, param(t, 65230, 1222).StatusOf(0xFFFF))
	require.Equal(t, spn.Valid, param(t, 64952, 3304).StatusOf(0xFFFE))
}

// The parameters of connection management share bytes: only those of the frame's kind are there.
func TestParameter_Variants(t *testing.T) {
	bam := unhex(t, "20120003FFCAFE00")
	_, size, status := param(t, 60416, 2567).Decode(bam)
	require.Equal(t, spn.Valid, status)
	require.EqualValues(t, 18, size)
	_, _, status = param(t, 60416, 2557).Decode(bam) // that of an RTS
	require.Equal(t, spn.Absent, status)
	raw, _, _ := param(t, 60416, 2569).Decode(bam)
	require.EqualValues(t, 65226, raw)
}

// A 19-bit SPN is two bytes and the top three bits of the third: DM7 for SPN 4794 FMI 31.
func TestParameter_Split(t *testing.T) {
	data := unhex(t, "F7BA121FFFFFFFFF")
	raw, _, _ := param(t, 58112, 4148).Decode(data)
	require.EqualValues(t, 4794, raw)
	require.NoError(t, param(t, 58112, 4148).Put(data, 524287))
	require.Equal(t, "f7ffffffffffffff", hex.EncodeToString(data))
}

func TestParameter_Short(t *testing.T) {
	_, _, status := param(t, 61444, 190).Decode([]byte{1, 2, 3, 4})
	require.Equal(t, spn.Absent, status)
	_, _, status = param(t, 61444, 190).Decode(nil)
	require.Equal(t, spn.Absent, status)
}

func TestParameter_Encode_Refuses(t *testing.T) {
	speed := param(t, 61444, 190)
	data := spn.PGN(61444).Blank()
	require.ErrorContains(t, speed.Encode(data, 8032), "outside its range")
	require.ErrorContains(t, speed.Encode(data, -1), "no raw value")
	require.ErrorContains(t, param(t, 61454, 3216).Encode(data, 4000), "outside its range")
	require.ErrorContains(t, param(t, 61454, 3223).EncodeStatus(data, spn.NotAvailable), "no raw value")
	require.Equal(t, spn.PGN(61444).Blank(), data, "a refused value changes nothing")
}

// What is encoded comes back, and no other bit moves: every parameter, every kind of raw value.
func TestParameter_RoundTrip(t *testing.T) {
	all := spn.Parameters()
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SampledFrom(all).Draw(t, "parameter")
		if p.Bits == 0 {
			return
		}
		data := rapid.SliceOfN(rapid.Byte(), 64, 64).Draw(t, "data")
		before := append([]byte(nil), data...)
		raw := rapid.Uint64Range(0, 1<<p.Bits-1).Draw(t, "raw")
		require.NoError(t, p.Put(data, raw))
		if _, there := p.Extract(data); !there {
			return // the other variant's control byte
		}
		got, value, status := p.Decode(data)
		require.Equal(t, raw, got)
		old, ok := p.Extract(before)
		if ok {
			require.NoError(t, p.Put(data, old))
			require.Equal(t, before, data)
		}
		if status == spn.Valid && p.Bits <= 32 {
			require.NoError(t, p.Encode(data, value))
			again, _, _ := p.Decode(data)
			require.Equal(t, raw, again)
		}
	})
}

func TestParameter_Decode_DoesNotAllocate(t *testing.T) {
	m, data := spn.PGN(61444), unhex(t, "F0919100AA18F3FF")
	require.Zero(t, testing.AllocsPerRun(100, func() {
		for _, p := range m.Parameters {
			p.Decode(data)
		}
	}))
}

func FuzzDecode(f *testing.F) {
	f.Add(uint32(61444), []byte{0xF3, 0x91, 0x91, 0xAA, 0x18, 0, 0xF3, 0xFF})
	f.Add(uint32(65260), []byte("3HAMKSTN0FL575012*"))
	f.Fuzz(func(t *testing.T, pgn uint32, data []byte) {
		m := spn.PGN(pgn)
		if m == nil {
			return
		}
		for _, p := range m.Parameters {
			raw, value, status := p.Decode(data)
			if status != spn.Valid && value != 0 {
				t.Fatalf("SPN %d raw %d is %s and yet %v", p.SPN, raw, status, value)
			}
			p.DecodeText(data)
			p.Text(raw)
		}
	})
}
