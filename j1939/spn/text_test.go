package spn_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/spn"
)

// Component identification as the ETI tests give it (make padded to five with spaces), and what is met in
// the field: padding of 0x00, an empty field, fields that are missing, Latin 1.
func TestDecodeText(t *testing.T) {
	for _, c := range []struct {
		data   string
		number uint32
		text   string
		status spn.Status
	}{
		{"INT  *7571031515*124KM2Y4411888*UNIT1*", 586, "INT", spn.Valid},
		{"INT  *7571031515*124KM2Y4411888*UNIT1*", 587, "7571031515", spn.Valid},
		{"INT  *7571031515*124KM2Y4411888*UNIT1*", 233, "UNIT1", spn.Valid},
		{"INT\x00\x00*A**", 586, "INT", spn.Valid},
		{"INT\x00\x00*A**", 588, "", spn.NotAvailable},
		{"INT*A", 588, "", spn.Absent},
		{"\xFF\xFF\xFF\xFF", 586, "", spn.NotAvailable},
		{"M\xFCller\xFF*", 586, "M\xFCller", spn.Valid},
		{"", 586, "", spn.Absent},
	} {
		p := param(t, 65259, c.number)
		text, status := p.DecodeText([]byte(c.data))
		require.Equal(t, c.status, status, "%q", c.data)
		require.Equal(t, c.text, string(text), "%q", c.data)
	}
}

// F3 of the worked examples (ETI VehicleIdentificationPacketTest) and software identification, whose texts
// follow a count.
func TestDecodeText_Others(t *testing.T) {
	text, status := param(t, 65260, 237).DecodeText([]byte("3HAMKSTN0FL575012*"))
	require.Equal(t, spn.Valid, status)
	require.Equal(t, "3HAMKSTN0FL575012", string(text))
	text, _ = param(t, 65242, 234).DecodeText([]byte("\x02ONE*TWO*"))
	require.Equal(t, "ONE*TWO*", string(text))
	_, status = param(t, 61444, 190).DecodeText([]byte("12345678"))
	require.Equal(t, spn.Absent, status, "no text")
}

// Texts of a fixed number of bytes have no '*': the range that a gearbox shows (ETC2).
func TestDecodeText_FixedLength(t *testing.T) {
	requested, current := param(t, 61445, 162), param(t, 61445, 163)
	data := []byte("\x00\x00\x00\x00R \xFF\xFF")
	text, status := requested.DecodeText(data)
	require.Equal(t, spn.Valid, status)
	require.Equal(t, "R", string(text))
	_, status = current.DecodeText(data)
	require.Equal(t, spn.NotAvailable, status)
	_, status = current.DecodeText(data[:7])
	require.Equal(t, spn.Absent, status)
	text, _ = requested.DecodeText([]byte("\x00\x00\x00\x00**\xFF\xFF"))
	require.Equal(t, "**", string(text), "a fixed text keeps its '*'")
}
