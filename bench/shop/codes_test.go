package shop

import (
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/record"
	"holdfast/j1939/diag"
	"holdfast/j1939/trace"
)

// SPN 4334 FMI 18 three times, and SPN 3516 FMI 3 with no count available (SAE J1939-73, conversion method 4).
var (
	lamp      = []byte{0x04, 0x00}
	code4334  = []byte{0xEE, 0x10, 0x12, 0x03}
	code3516  = []byte{0xBC, 0x0D, 0x03, 0x7F}
	noCodes   = []byte{0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0xFF, 0xFF}
	truncated = []byte{0x04}
)

func TestCodes(t *testing.T) {
	c := NewCodes("can0")
	add := func(pgn uint32, source uint8, parts ...[]byte) {
		var data []byte
		for _, p := range parts {
			data = append(data, p...)
		}
		c.Add(&trace.Message{PGN: pgn, Source: source, Data: data})
	}
	add(diag.DM2, 61, lamp, code4334, []byte{0xFF, 0xFF})
	require.False(t, *c.Seen()[0].Active)
	add(diag.DM1, 61, lamp, code4334, code3516)
	add(diag.DM2, 61, lamp, code4334, []byte{0xFF, 0xFF})
	add(diag.DM1, 0, lamp, code4334, []byte{0xFF, 0xFF})
	add(diag.DM1, 61, truncated)
	add(diag.DM1, 61, noCodes)
	add(0xFECC, 61, lamp, code4334, []byte{0xFF, 0xFF}) // another message: not a list of codes
	three, yes, from61, from0 := uint8(3), true, uint8(61), uint8(0)
	require.Equal(t, []record.FaultSeen{
		{Source: &from61, SPN: 4334, FMI: 18, Count: &three, Active: &yes, Origin: "can0"}, // active wins
		{Source: &from61, SPN: 3516, FMI: 3, Active: &yes, Origin: "can0"},
		{Source: &from0, SPN: 4334, FMI: 18, Count: &three, Active: &yes, Origin: "can0"},
	}, c.Seen())
}

func TestParseFault(t *testing.T) {
	f, err := ParseFault(" 4334/18/3 ")
	require.NoError(t, err)
	require.Equal(t, "SPN 4334 FMI 18, 3 times (typed)", FaultText(f))
	f, err = ParseFault("524287/31/126")
	require.NoError(t, err)
	require.EqualValues(t, 126, *f.Count)
	f, err = ParseFault("0/0")
	require.NoError(t, err)
	require.Nil(t, f.Count)
	for _, bad := range []string{"", "/", "4334", "4334/", "/18", "4334/18/3/1", "524288/1", "1/32", "1/1/127", "-1/1", "a/b",
		"99999999999999999999/1"} {
		_, err := ParseFault(bad)
		require.ErrorContains(t, err, "write SPN/FMI", bad)
	}
}

func FuzzParseFault(f *testing.F) {
	f.Add("4334/18/3")
	f.Add("0/0")
	f.Add("//")
	f.Fuzz(func(t *testing.T, text string) {
		seen, err := ParseFault(text)
		if err == nil && (seen.SPN > diag.MaxSPN || seen.FMI > diag.MaxFMI || seen.Count != nil && *seen.Count > diag.CountMax) {
			t.Errorf("%q gave %+v", text, seen)
		}
	})
}

func TestText(t *testing.T) {
	require.Equal(t, "", HoursText(0))
	require.Equal(t, "18400 h", HoursText(18400))
	require.Equal(t, "A, 24 V", Join("A", "", "24 V"))
	require.Equal(t, "", By(""))
	require.Equal(t, "connector", CauseText("connector"), "a cause without a title is its own")
	require.Equal(t, "other: pin bent (2026-03-04 by Kim)",
		FindingText(record.Finding{Cause: OtherCause, Note: "pin bent", Time: noon, By: "Kim"}))
	require.Equal(t, "WATCH: purge cut short (2026-03-04 12:00 from can0 by Kim; vehicle-1)", VehicleText(record.VehicleCheck{
		Level: "watch", Raised: "purge cut short", Began: noon, Source: "can0", By: "Kim", Folder: "vehicle-1"}))
}
