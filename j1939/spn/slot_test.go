package spn_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/spn"
)

// SLOT 68 in a published scaled test result: 0xFAFF is 1734.969 °C, 0xF000 is 1647 °C, 0xA000 is 1007 °C
// (ETI j1939-84, ScaledTestResultTest.java).
func TestFindSLOT(t *testing.T) {
	s, ok := spn.FindSLOT(68)
	require.True(t, ok)
	require.Equal(t, "°C", s.Unit)
	for raw, want := range map[uint64]string{0xFAFF: "1734.96875", 0xF000: "1647", 0xA000: "1007"} {
		require.Equal(t, want, string(s.Scale.AppendExact(nil, raw)))
	}
	_, ok = spn.FindSLOT(202) // "diagnostic only": no scale
	require.False(t, ok)
}

// Parameters of the catalogue whose SLOT is published beside their scale in the same source: a doser's
// pressure of 8 kPa a bit (SLOT 2) and a temperature of 1 °C a bit (SLOT 67).
func TestFindSLOT_ScalesAsTheCatalogue(t *testing.T) {
	for number, slot := range map[uint32]uint16{4334: 2, 110: 67, 190: 76, 84: 71, 247: 58, 4331: 272} {
		s, ok := spn.FindSLOT(slot)
		require.True(t, ok)
		p := spn.Find(number)[0]
		require.Equal(t, p.Scale, s.Scale, "SPN %d", number)
		require.Equal(t, p.Unit, s.Unit, "SPN %d", number)
		require.Equal(t, p.Bits, s.Bits, "SPN %d", number)
	}
}
