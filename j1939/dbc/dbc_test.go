package dbc_test

import (
	"encoding/hex"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"
	"go.einride.tech/can/pkg/descriptor"
	"pgregory.net/rapid"

	"holdfast/j1939/dbc"
	"holdfast/j1939/spn"
)

func readOwn(t testing.TB) *dbc.File {
	text, err := os.ReadFile("testdata/own.dbc")
	require.NoError(t, err)
	f, err := dbc.Parse("own.dbc", text)
	require.NoError(t, err)
	return f
}

// says are the signals of a message in words.
func says(t testing.TB, f *dbc.File, pgn uint32, source uint8, data string) []string {
	b, err := hex.DecodeString(strings.ReplaceAll(data, " ", ""))
	require.NoError(t, err)
	var said []string
	for _, m := range f.Of(pgn, source) {
		for _, v := range m.Append(nil, b) {
			said = append(said, v.Signal.Name+" "+string(v.AppendWords(nil)))
		}
	}
	return said
}

// Values by hand from the file's own scales; the big-endian signal: bytes 3 and 4, high byte first.
func TestMessage_Append(t *testing.T) {
	f := readOwn(t)
	require.Len(t, f.Messages, 3)
	require.Equal(t, 1, f.Standard)
	for _, c := range []struct {
		pgn    uint32
		source uint8
		data   string
		want   []string
	}{
		{65282, 17, "D007 0191 0B 000000", []string{"LineA 100 kPa", "LineB 0.1 kPa",
			"State 3", "Ratio 0.333333333333333"}},
		{65282, 17, "FFFF FE70 01 000000",
			[]string{"LineA not available", "LineB -80 kPa", "State open", "Ratio 0"}},
		{65282, 17, "FFFE 7FFF 06 000000",
			[]string{"LineA out of range, raw 65279", "LineB out of range, raw 32767",
				"State out of range, raw 6", "Ratio 0"}},
		{65282, 17, "D007 FF", []string{"LineA 100 kPa"}}, // the data ends inside the second signal
		{65284, 61, "01 01000000 000000 ", []string{"Page 1", "Hours 0.05 h", "Crc 0"}},
		{65284, 61, "02 7D F6 0000000055", []string{"Page 2", "Level 50 %", "Trim -10 %", "Crc 85"}},
		{65284, 61, "07 7DF6000000 00AA", []string{"Page 7", "Crc 170"}},
		{65284, 60, "01 01000000 000000 ", nil}, // another source than the file's
		{65285, 3, "0000C03F 00000000 78563412", []string{"Tail 305419896", "Exact 1.5 V"}},
		{65285, 3, "0000C07F 00000000 FFFFFFFF", []string{"Tail 4294967295",
			"Exact out of range, raw 2143289344"}}, // no number
		{61444, 0, "0000000000000000", nil},
	} {
		require.Equal(t, c.want, says(t, f, c.pgn, c.source, c.data), c.data)
	}
}

func TestParse_NamesThePlace(t *testing.T) {
	for text, want := range map[string]string{
		"BO_ 2566849278 M: 8 N\n SG_ S : 0|65@1+ (1,0) [0|0] \"\" N\n":    "x.dbc:2:2: signal M.S: it is 65 bits long; 1 to 64",
		"BO_ 2566849278 M: 8 N\n SG_ S : 0|8@1+ (0,0) [0|0] \"\" N\n":     "x.dbc:2:2: signal M.S: its factor or offset",
		"BO_ 2566849278 M: 8 N\n SG_ S : 0|8@2+ (1,0) [0|0] \"\" N\n":     `x.dbc:2:14: a number that is not possible here: "2+"; write SG_`,
		"BO_ 2566849278 M: 8 N\n SG_ S m0M : 0|8@1+ (1,0) [0|0] \"\" N\n": `x.dbc:2:8: expected m and a whole number, such as m2, found "m0M"; write SG_`,
		"hello": "x.dbc:1:1: no message with a 29-bit identifier",
		"BO_ 2566849278 M: 8 N\n SG_ S : 0|16@1+ (1,0) [0|0] \"\" N\nSIG_VALTYPE_ 2566849278 S : 1;\n": "x.dbc:3:1: signal S " +
			"is a floating point number of 32 bits and has 16",
	} {
		_, err := dbc.Parse("x.dbc", []byte(text))
		require.ErrorContains(t, err, want)
	}
}

// Syntax that the library refuses is told in plain words: what was expected, what stands there, what would do.
func TestParse_SyntaxInPlainWords(t *testing.T) {
	const message = "BO_ 2566849278 M: 8 N\n"
	const signal = message + " SG_ S : 0|8@1+ (1,0) [0|0] \"\" N\n"
	for text, want := range map[string]string{
		"BO_ 2566849278 8M: 8 N\n": `x.dbc:1:16: expected a name or keyword, which begins with a letter or _, ` +
			`found "8M:"; write BO_ 2566849278 MessageName: 8 SenderName`,
		"BO_ 2566849278 M: 8 8\n":                           `x.dbc:1:21: expected a name or keyword`,
		"BO_ 2566849278 M: 8":                               `x.dbc:1:20: expected a name or keyword, which begins with a letter or _, but the file ends here`,
		"BO_ abc M: 8 N\n":                                  `x.dbc:1:5: expected a whole number, 0 or more, found "abc"; write BO_ `,
		"BO_ 2566849278 M 8 N\n":                            `x.dbc:1:20: expected ':' before "N"; write BO_ `,
		"BO_ 4096 M: 8 N\n":                                 `not the mark of one of 29 bits (add 2147483648): "4096"`,
		"BO_ 2566849278 M\u00fc: 8":                         `x.dbc:1:16: this name is not possible: 1 to 128 letters, digits and _`,
		message + " SG_ S : 0|8@1 (1,0) [0|0] \"\" N\n":     `x.dbc:2:16: expected + or -, found "(1,0)"; write SG_ `,
		message + " SG_ S : 0|8@1+ (x,0) [0|0] \"\" N\n":    `x.dbc:2:19: expected a number before ",0)"; write SG_ `,
		message + " SG_ S : 0|8@1+ (1,0) [0|0] kPa N\n":     `x.dbc:2:29: expected text in "...", found "kPa"`,
		message + " SG_ S : 0|8@1+ (1,0) [0|0] \"kPa N\n":   `x.dbc:2:29: this " is not closed`,
		signal + "VAL_ 2566849278 S 0 closed;\n":            `x.dbc:3:21: expected text in "...", found "closed;"; write VAL_ `,
		signal + "SIG_VALTYPE_ 2566849278 S : 7;\n":         `x.dbc:3:29: expected 0, 1 or 2, found "7;"; write SIG_VALTYPE_ `,
		signal + "BA_DEF_ SG_ \"A\" WORD 0 1;\n":            `expected INT, HEX, FLOAT, STRING or ENUM, found "WORD"; write BA_DEF_ `,
		signal + "CM_ XX_ \"a\";\n":                         `x.dbc:3:5: expected BU_, BO_, SG_ or EV_, found "XX_"; write CM_ `,
		"VERSION x\n":                                       `x.dbc:1:9: expected text in "...", found "x"; write VERSION "text"`,
		"<html>\n":                                          `x.dbc:1:1: expected a name or keyword, which begins with a letter or _, found "<html>"; a definition begins with its keyword`,
		"BU_: a, b\n":                                       `x.dbc:1:9: expected the end of the line before "b"; write BU_: Node1 Node2`,
		"VERSION \"\"\n\n" + strings.Repeat("9", 40) + "\n": `found "` + strings.Repeat("9", 20) + `..."; write VERSION`,
	} {
		_, err := dbc.Parse("x.dbc", []byte(text))
		require.ErrorContains(t, err, want, "%q", text)
		require.NotRegexp(t, "token|ident[^i]|enum index|uint|float[^i]|literal", err.Error(), "%q", text)
	}
}

// Raw bits of any signal in eight bytes are those that the library's own descriptors take.
func TestSignal_Extract_AsTheLibrary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		start := rapid.IntRange(0, 63).Draw(t, "start")
		big := rapid.Bool().Draw(t, "big-endian")
		signed := rapid.Bool().Draw(t, "signed")
		room := 64 - start
		if big {
			room = 64 - (start/8*8 + 7 - start%8)
		}
		size := rapid.IntRange(1, room).Draw(t, "size")
		data := einride.Data(rapid.SliceOfN(rapid.Byte(), 8, 8).Draw(t, "data"))
		order, sign := 1, "+"
		if big {
			order = 0
		}
		if signed {
			sign = "-"
		}
		f, err := dbc.Parse("x.dbc", fmt.Appendf(nil,
			"BO_ 2566849278 M: 8 N\n SG_ S : %d|%d@%d%s (1,0) [0|0] \"\" N\n", start, size, order, sign))
		require.NoError(t, err)
		values := f.Of(65282, 1)[0].Append(nil, data[:])
		require.Len(t, values, 1)
		theirs := descriptor.Signal{Start: uint8(start), Length: uint8(size), IsBigEndian: big, IsSigned: signed}
		if signed {
			require.Equal(t, theirs.UnmarshalSigned(data), int64(values[0].Raw))
		} else {
			require.Equal(t, theirs.UnmarshalUnsigned(data), values[0].Raw)
		}
	})
}

// A file with the layout of standard messages decodes as the catalogue does: engine speed (SPN 190) and a
// temperature (SPN 110).
func TestSignal_AsTheCatalogue(t *testing.T) {
	f, err := dbc.Parse("x.dbc",
		[]byte("BO_ 2364539904 EEC1: 8 N\n SG_ Speed : 24|16@1+ (0.125,0) [0|8031.875] \"rpm\" N\n"))
	require.NoError(t, err)
	p := spn.Find(190)[0]
	for _, raw := range []uint64{0, 5600, 0xFAFF, 0xFE00, 0xFFFF} {
		data := make([]byte, 8)
		require.NoError(t, p.Put(data, raw))
		v := f.Of(61444, 0)[0].Append(nil, data)[0]
		_, value, status := p.Decode(data)
		require.Equal(t, status == spn.Valid, v.Status == spn.Valid, raw)
		require.Equal(t, status == spn.NotAvailable, v.Status == spn.NotAvailable, raw)
		if status == spn.Valid {
			require.Equal(t, value, v.Number())
		}
	}
}

func TestFile_Of_DoesNotAllocate(t *testing.T) {
	f := readOwn(t)
	values := make([]dbc.Value, 0, 16)
	data := []byte{2, 1, 2, 3, 4, 5, 6, 7}
	require.Zero(t, testing.AllocsPerRun(100, func() {
		for _, m := range f.Of(65284, 61) {
			values = m.Append(values[:0], data)
		}
	}))
}

// Any text is read or refused with its place, and any data of its messages is taken apart.
func FuzzParse(f *testing.F) {
	text, err := os.ReadFile("testdata/own.dbc")
	require.NoError(f, err)
	f.Add(string(text), []byte{2, 1, 2, 3, 4, 5, 6, 7})
	f.Add("BO_ 2566849278 M: 8 N\n SG_ S M : 7|64@0- (-1e-9,1e300) [1|0] \"\" N\n", []byte{0xFF})
	f.Fuzz(func(t *testing.T, text string, data []byte) {
		if len(text) > 1<<14 || len(data) > 1785 {
			return
		}
		file, err := dbc.Parse("x.dbc", []byte(text))
		if err != nil {
			if !strings.HasPrefix(err.Error(), "x.dbc:") {
				t.Fatalf("no place in %v", err)
			}
			return
		}
		for _, m := range file.Messages {
			for _, v := range m.Append(nil, data) {
				if v.Status == spn.Valid && math.IsNaN(v.Number()) {
					t.Fatalf("%s is valid and no number", v.Signal.Name)
				}
				v.AppendWords(nil)
			}
		}
	})
}
