package capture_test

import (
	"bytes"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"
	"pgregory.net/rapid"

	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/clock"
)

// The lines are as can-utils writes them: log2asc/asc2log, candump.c and lib.c (sprint_canframe,
// sprint_long_canframe).
func TestCandump_LinesThatAreFrames(t *testing.T) {
	const at = clock.Instant(1622547830_084000_000)
	remote := einride.Frame{ID: 0x123, IsRemote: true}
	longRemote := einride.Frame{ID: 0x18EAFFFE, IsExtended: true, IsRemote: true, Length: 3}
	standard := einride.Frame{ID: 0x7DF, Length: 2, Data: einride.Data{0xA1, 0xB2}}
	full := extended(0x0CF00300, 0xFF, 0xFE, 0, 0xFF, 0xFF, 0xFF, 0, 0xFF)
	timed := func(f einride.Frame) can.Frame { return can.Frame{Frame: f, Time: at} }
	for _, c := range []struct {
		name, line string
		want       can.Frame
	}{
		{"log", "(1622547830.084000) can0 0CF00300#FFFE00FFFFFF00FF", timed(full)},
		{"log, lower case", "(1622547830.084000) can0 0cf00300#fffe00ffffff00ff", timed(full)},
		{"log, carriage return", "(1622547830.084000) can0 0CF00300#FFFE00FFFFFF00FF\r", timed(full)},
		{"log, 11 bit", "(1622547830.084000) slcan12 7DF#A1B2", timed(standard)},
		{"log, no data", "(1622547830.084000) can0 18FEEE00#", timed(extended(0x18FEEE00))},
		{"log, direction", "(1622547830.084000) can0 7DF#A1B2 R", timed(standard)},
		{"log, remote", "(1622547830.084000) can0 123#R", timed(remote)},
		{"log, remote with length", "(1622547830.084000) can0 18EAFFFE#R3", timed(longRemote)},
		{"log, raw length code", "(1622547830.084000) can0 0CF00300#FFFE00FFFFFF00FF_F", timed(full)},
		{"log, ten decimals cut", "(14.9447040558) can0 7DF#A1B2", can.Frame{Frame: standard, Time: 14_944704055}},
		{"log, short seconds", "(0.5) can0 7DF#A1B2", can.Frame{Frame: standard, Time: 500_000_000}},
		{"log, bus-off", "(1622547830.084000) can0 20000040#0000000000000000",
			can.Frame{Frame: einride.Frame{ID: 0x40, Length: 8}, Time: at, Error: true}},
		{"no time", "can0 7DF#A1B2", can.Frame{Frame: standard}},
		{"table", "  can0  0CF00300   [8]  FF FE 00 FF FF FF 00 FF", can.Frame{Frame: full}},
		{"table with time", " (1622547830.084000)  can0  7DF   [2]  A1 B2", timed(standard)},
		{"table with text", "  can0  7DF   [2]  A1 B2                '..'", can.Frame{Frame: standard}},
		{"table, direction", "  can0  RX - -  7DF   [2]  A1 B2", can.Frame{Frame: standard}},
		{"table, no data", "  can0  18FEEE00   [0]", can.Frame{Frame: extended(0x18FEEE00)}},
		{"table, remote", "  can0  18EAFFFE   [3]  remote request", can.Frame{Frame: longRemote}},
		{"table, error", "  can0  20000040   [8]  00 00 00 00 00 00 00 00   ERRORFRAME",
			can.Frame{Frame: einride.Frame{ID: 0x40, Length: 8}, Error: true}},
	} {
		t.Run(c.name, func(t *testing.T) {
			frames, r := readBytes(t, []byte(c.line+"\n"))
			require.Equal(t, []can.Frame{c.want}, frames)
			require.Zero(t, r.Stats().Skipped)
			frames, _ = readBytes(t, []byte(c.line)) // the last line need not end
			require.Equal(t, []can.Frame{c.want}, frames)
			// Far from the file's end, where the quick way is taken if there is one.
			frames, _ = readBytes(t, []byte(c.line+"\n# "+strings.Repeat("-", 100)+"\n"))
			require.Equal(t, []can.Frame{c.want}, frames)
		})
	}
}

func TestCandump_LinesThatAreNot(t *testing.T) {
	good := "(1.000000) can0 123#11\n"
	for _, c := range []struct {
		name, line         string
		skipped, malformed uint64
	}{
		{"blank", "", 0, 0},
		{"spaces", " \t ", 0, 0},
		{"comment", "# heard at the bench", 1, 0},
		{"comment, semicolon", "; heard", 1, 0},
		{"CAN FD", "(1.000000) can0 123##1112233445566778899AABBCC", 1, 0},
		{"CAN FD table", "  can0  123  [12]  11 22 33 44 55 66 77 88 99 AA BB CC", 1, 0},
		{"CAN XL", "(1.000000) can0 123#81:00:12345678#1122", 1, 0},
		{"words", "this is no frame", 1, 1},
		{"odd digits", "(1.000000) can0 123#112", 1, 1},
		{"nine bytes", "(1.000000) can0 123#112233445566778899", 1, 1},
		{"no hexadecimal digit", "(1.000000) can0 123#1G", 1, 1},
		{"identifier of four digits", "(1.000000) can0 1234#11", 1, 1},
		{"11-bit identifier too large", "(1.000000) can0 800#11", 1, 1},
		{"29-bit identifier too large", "(1.000000) can0 40000000#11", 1, 1},
		{"no interface", "(1.000000) 123#11", 1, 1},
		{"open bracket", "(1.000000 can0 123#11", 1, 1},
		{"time is a word", "(yesterday) can0 123#11", 1, 1},
		{"time too large", "(9999999999.000000) can0 123#11", 1, 1},
		{"length nine", "  can0  123   [9]  11 22 33 44 55 66 77 88 99", 1, 1},
		{"fewer bytes than said", "  can0  123   [3]  11 22", 1, 1},
		{"trailing words", "(1.000000) can0 123#11 22 33", 1, 1},
		{"remote length nine", "(1.000000) can0 123#R9", 1, 1},
		{"line feed in the name", "(1622547830.084000) can\n 123#11", 2, 2},
		{"endless", strings.Repeat("0123456789", 100_000), 1, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			frames, r := readBytes(t, []byte(good+c.line+"\n"+good))
			require.Len(t, frames, 2, "the lines around are read")
			require.Equal(t, c.skipped, r.Stats().Skipped)
			count, places := r.Malformed()
			require.Equal(t, c.malformed, count)
			require.Len(t, places, int(c.malformed))
			for _, p := range places {
				require.Contains(t, p.String(), "line ")
				require.Less(t, len(p.Found), 300)
			}
			if c.malformed > 0 {
				require.Equal(t, 2, places[0].Line)
			}
		})
	}
}

func TestCandump_FileWithoutAFrame(t *testing.T) {
	r, err := capture.NewReader(strings.NewReader("name,mass\nA,1\n"), "masses.csv")
	require.NoError(t, err)
	_, err = r.Receive(make([]can.Frame, 1), clock.Never)
	require.EqualError(t, err, `masses.csv: holds no CAN frame: line 1: not a CAN frame of candump: "name,mass"`)
	frames, _ := readBytes(t, nil)
	require.Empty(t, frames, "an empty recording is one")
}

func TestCandump_InterfacesAreNumberedAsTheyCome(t *testing.T) {
	frames, r := readBytes(t, []byte("(1.000000) vcan1 123#\n(1.000000) can0 123#\n(1.000000) vcan1 124#\n"))
	require.Equal(t, []string{"vcan1", "can0"}, r.Channels())
	require.Equal(t, []uint8{0, 1, 0}, []uint8{frames[0].Channel, frames[1].Channel, frames[2].Channel})
}

// Any frames, written as candump writes them, come back whatever the pieces the file is read in.
func TestCandump_RoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var text bytes.Buffer
		var want []can.Frame
		for range rapid.IntRange(1, 30).Draw(t, "frames") {
			f := drawFrame(t, 1)
			f.Time -= f.Time % 1000
			want = append(want, f)
			text.WriteString(logLine(&f))
		}
		whole, err := capture.NewReader(bytes.NewReader(text.Bytes()), "whole")
		require.NoError(t, err)
		pieces, err := capture.NewReader(iotest.OneByteReader(&text), "pieces")
		require.NoError(t, err)
		size := rapid.IntRange(1, 40).Draw(t, "batch")
		for _, r := range []*capture.Reader{whole, pieces} {
			var got []can.Frame
			batch := make([]can.Frame, size)
			for {
				n, err := r.Receive(batch, clock.Never)
				got = append(got, batch[:n]...)
				if err != nil {
					break
				}
			}
			require.Equal(t, want, got)
		}
	})
}
