package capture_test

import (
	"bytes"
	"encoding/binary"
	"io"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/clock"
)

// fuzzRead reads data in one piece and byte by byte: nothing may panic or run for ever, every frame
// must be one that a bus can carry, and the pieces must not matter.
func fuzzRead(t *testing.T, data []byte) {
	var outcomes [2][]can.Frame
	var errors [2]error
	var stats [2]can.Stats
	for i, input := range []io.Reader{bytes.NewReader(data), iotest.OneByteReader(bytes.NewReader(data))} {
		r, err := capture.NewReader(input, "fuzz")
		if err != nil {
			return
		}
		batch := make([]can.Frame, 3)
		for rounds := 0; ; rounds++ {
			require.LessOrEqual(t, rounds, len(data)+2, "it does not end")
			n, err := r.Receive(batch, clock.Never)
			outcomes[i] = append(outcomes[i], batch[:n]...)
			if err != nil {
				errors[i] = err
				break
			}
		}
		stats[i] = r.Stats()
		_, places := r.Malformed()
		require.LessOrEqual(t, len(places), 5)
	}
	require.Equal(t, outcomes[0], outcomes[1])
	require.Equal(t, stats[0], stats[1])
	require.Equal(t, errors[0].Error(), errors[1].Error())
	for _, f := range outcomes[0] {
		if !f.Error {
			require.NoError(t, f.Validate())
		}
		require.LessOrEqual(t, f.Length, uint8(8))
	}
}

func FuzzCandump(f *testing.F) {
	for _, line := range []string{
		"(1622547830.084000) can0 0CF00300#FFFE00FFFFFF00FF\n(1.5) can1 123#R4\n",
		"  can0  18EEFF00   [8]  8E F2 DD E8 00 96 64 40\n# comment\n\ncan0 20000040#0000000000000000",
		"(1.000000) can0 123##1112233\n  can0  123   [2]  remote request\n",
	} {
		f.Add([]byte(line))
	}
	f.Fuzz(func(t *testing.T, data []byte) { fuzzRead(t, data) })
}

func FuzzPcap(f *testing.F) {
	frame := someFrames()[0]
	head := []byte{0xD4, 0xC3, 0xB2, 0xA1, 2, 0, 4, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 227, 0, 0, 0}
	file := append(head, 1, 0, 0, 0, 2, 0, 0, 0, 16, 0, 0, 0, 16, 0, 0, 0)
	file = append(file, packet(&frame)...)
	f.Add(file)
	f.Add(swapPcap(file))
	f.Fuzz(func(t *testing.T, data []byte) {
		// The magic stays, so that the fuzzer works on what comes after it.
		if len(data) >= 4 && binary.LittleEndian.Uint32(data) != 0xA1B2C3D4 {
			copy(data, []byte{0xA1, 0xB2, 0x3C, 0x4D})
		}
		fuzzRead(t, data)
	})
}

func FuzzPcapng(f *testing.F) {
	frame := someFrames()[0]
	for _, order := range []binary.AppendByteOrder{binary.LittleEndian, binary.BigEndian} {
		b := &ng{order: order}
		b.section()
		b.device(227, uint16(2), uint16(4), []byte("can0"), uint16(9), uint16(1), []byte{0x94, 0, 0, 0})
		b.enhanced(0, 1, packet(&frame))
		b.block(3, uint32(16), packet(&frame))
		f.Add(b.bytes)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		copy(data, []byte{0x0A, 0x0D, 0x0D, 0x0A})
		fuzzRead(t, data)
	})
}
