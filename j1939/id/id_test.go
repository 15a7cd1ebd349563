package id_test

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdfast/j1939/id"
)

// Published identifiers. Source beside each: the project whose own tests or manual state it.
// Left out: Laixer's 0DFE6CEE "= PGN 65132"; its data page bit is 1, so it is 130668, which is tested here.
var published = []struct {
	id          id.ID
	priority    uint8
	pgn         uint32
	destination uint8
	source      uint8
	from        string
}{
	{0x18EAFF00, 6, 59904, 255, 0, "Laixer/J1939 src/lib.rs"},
	{0x18EA687A, 6, 59904, 104, 122, "Laixer/J1939"},
	{0x0CFE6CEE, 3, 65132, 255, 238, "Laixer/J1939"},
	{0x0CF0040C, 3, 61444, 255, 12, "Laixer/J1939"},
	{0x18FEF7EA, 6, 65271, 255, 234, "Laixer/J1939"},
	{0x19EF00EA, 6, 126720, 0, 234, "Laixer/J1939"},
	{0x0DFE6CEE, 3, 130668, 255, 238, "J1939-21; Laixer/J1939 publishes 65132, without the data page"},
	{0x1923FF80, 6, 0x12300, 255, 0x80, "can-utils can-j1939-kickstart.md"},
	{0x1BFFFF80, 6, 0x3FFFF, 255, 0x80, "can-utils can-j1939-kickstart.md"},
	{0x19234080, 6, 0x12300, 0x40, 0x80, "can-utils can-j1939-kickstart.md"},
	{0x1801FF80, 6, 0x00100, 255, 0x80, "can-utils can-j1939-kickstart.md"},
	{0x0C02FF80, 3, 0x00200, 255, 0x80, "can-utils can-j1939-kickstart.md"},
	{0x14EE2535, 5, 60928, 0x25, 0x35, "tx7do/go-j1939 address_claim_frame_test.go"},
	{0x10EA5821, 4, 59904, 0x58, 0x21, "tx7do/go-j1939 request_frame_test.go"},
	{0x18EAFF0B, 6, 59904, 255, 11, "nmfta-repo/pretty_j1939 tests"},
	{0x18EA0FF9, 6, 59904, 15, 249, "SystemsCyber/TruckCapeProjects notebook 05"},
}

func TestID_Published(t *testing.T) {
	for _, p := range published {
		t.Run(p.id.String(), func(t *testing.T) {
			require.Equal(t, p.pgn, p.id.PGN(), p.from)
			require.Equal(t, p.destination, p.id.Destination(), p.from)
			require.Equal(t, p.source, p.id.Source(), p.from)
			require.Equal(t, p.priority, p.id.Priority(), p.from)
			composed, err := id.New(p.priority, p.pgn, p.destination, p.source)
			require.NoError(t, err)
			require.Equal(t, p.id, composed)
		})
	}
}

// Any 29 bits come back whole through their fields, and the fields are where the drawing says.
func TestID_RoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := id.ID(rapid.Uint32Max(uint32(id.MaxID)).Draw(t, "id"))
		got, err := id.New(want.Priority(), want.PGN(), want.Destination(), want.Source())
		require.NoError(t, err)
		require.Equal(t, want, got)
		byField := id.ID(want.Priority())<<26 | id.ID(want.EDP())<<25 | id.ID(want.DP())<<24 |
			id.ID(want.PF())<<16 | id.ID(want.PS())<<8 | id.ID(want.Source())
		require.Equal(t, want, byField)
		require.Equal(t, want.PDU1(), id.IsPDU1(want.PGN()))
	})
}

func TestNew_Refuses(t *testing.T) {
	for _, c := range []struct {
		name                string
		priority            uint8
		pgn                 uint32
		destination, source uint8
		says                string
	}{
		{"priority", 8, 61444, 255, 0, "priority"},
		{"pgn of 19 bits", 6, 1 << 18, 255, 0, "18 bits"},
		{"low byte in PDU1", 6, 59905, 0, 0, "PDU1"},
		{"destination in PDU2", 6, 61444, 0, 0, "PDU2"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := id.New(c.priority, c.pgn, c.destination, c.source)
			require.ErrorContains(t, err, c.says)
		})
	}
}

// Requests of DM11 and of component identification (worked examples F1 and A16 of the facts).
func TestPGNBytes(t *testing.T) {
	for pgn, b := range map[uint32][]byte{65235: {0xD3, 0xFE, 0x00}, 65259: {0xEB, 0xFE, 0x00},
		id.MaxPGN: {0xFF, 0xFF, 0x03}} {
		require.Equal(t, b, id.PGNBytes(pgn))
		require.Equal(t, pgn, id.PGNOf(b))
	}
}

func TestID_Foreign(t *testing.T) {
	require.True(t, id.ID(0x1BFFFF80).Foreign())
	require.False(t, id.ID(0x19EF00EA).Foreign())
	require.False(t, id.ID(0x1AEF00EA).Foreign())
}

func FuzzID(f *testing.F) {
	for _, p := range published {
		f.Add(uint32(p.id))
	}
	f.Fuzz(func(t *testing.T, raw uint32) {
		i := id.ID(raw) & id.MaxID
		back, err := id.New(i.Priority(), i.PGN(), i.Destination(), i.Source())
		if err != nil || back != i {
			t.Fatalf("%s came back as %s: %v", i, back, err)
		}
	})
}
