package diag_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/diag"
	"holdfast/j1939/spn"
)

// The bits of DM13 are where the catalogue has them (ETI addendum and DBC-D agree).
func TestBroadcast_AsTheCatalogue(t *testing.T) {
	numbers := map[diag.Link]uint32{
		diag.J1939Network1: 639, diag.J1922: 622, diag.J1587: 608, diag.CurrentLink: 1230, diag.OtherPort: 1234,
		diag.J1850: 1233, diag.ISO9141: 1232, diag.J1939Network2: 1231, diag.J1939Network4: 1668,
		diag.ProprietaryNetwork2: 5588, diag.ProprietaryNetwork1: 625, diag.J1939Network3: 1235,
	}
	group := spn.PGN(diag.DM13)
	require.Len(t, numbers, len(diag.Broadcast{}.Links))
	for link := range numbers {
		b := diag.NewBroadcast()
		b.Links[link], b.Hold, b.Suspend, b.Duration = diag.StopBroadcast, 1, 2, 600
		data, err := b.Encode()
		require.NoError(t, err)
		for other, number := range numbers {
			raw, _, _ := group.Parameter(number).Decode(data[:])
			require.EqualValues(t, b.Links[other], raw, "%s, SPN %d", other, number)
		}
		for number, want := range map[uint32]uint64{1236: 1, 2618: 2, 2619: 600} {
			raw, _, status := group.Parameter(number).Decode(data[:])
			require.Equal(t, want, raw, "SPN %d", number)
			require.Equal(t, spn.Valid, status)
		}
	}
}

// Where the catalogue has the places of DM5, DM7, DM8 and DM22, both read the same.
func TestMessages_AsTheCatalogue(t *testing.T) {
	raw := func(pgn, number uint32, data []byte) uint64 {
		v, ok := spn.PGN(pgn).Parameter(number).Extract(data)
		require.True(t, ok)
		return v
	}
	data := []byte{0xF7, 0xEE, 0x10, 0x5F, 0x21, 0x43, 0x12, 0xB2}
	test, err := diag.DecodeTestCommand(data)
	require.NoError(t, err)
	require.EqualValues(t, raw(diag.DM7, 4148, data), test.SPN)
	require.EqualValues(t, raw(diag.DM7, 4149, data), test.FMI)
	require.EqualValues(t, raw(diag.DM7, 1224, data), test.Test)
	result, err := diag.DecodeTestResult(data)
	require.NoError(t, err)
	require.EqualValues(t, raw(diag.DM8, 1225, data), result.Component)
	require.EqualValues(t, raw(diag.DM8, 1226, data), result.Value)
	require.EqualValues(t, raw(diag.DM8, 1227, data), result.Maximum)
	require.EqualValues(t, raw(diag.DM8, 1228, data), result.Minimum)
	one, err := diag.DecodeClearOne(data)
	require.NoError(t, err)
	require.EqualValues(t, raw(diag.DM22, 3036, data), one.SPN)
	require.EqualValues(t, raw(diag.DM22, 3037, data), one.FMI)
	ready, err := diag.DecodeReadiness(data)
	require.NoError(t, err)
	require.Equal(t, raw(diag.DM5, 1219, data), ready.Previous.Raw)
	require.Equal(t, raw(diag.DM5, 1220, data), ready.Compliance.Raw)
}
