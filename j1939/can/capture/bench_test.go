package capture_test

import (
	"bytes"
	"io"
	"testing"

	"github.com/gopacket/gopacket/pcapgo"
	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/clock"
)

// traffic is a million frames that look like a truck's.
func traffic() []can.Frame {
	frames := make([]can.Frame, 1_000_000)
	for i := range frames {
		f := extended(0x18F00000+uint32(i%97)<<8, byte(i), byte(i>>8), 0xFF, 0x7D, 0, 3, byte(i>>4), 0xFF)
		at := clock.Instant(1_622_547_830_000_000_000 + int64(i)*524_000)
		frames[i] = can.Frame{Frame: f, Time: at, Channel: uint8(i / 7 % 2)}
	}
	return frames
}

func benchmarkReader(b *testing.B, file []byte) {
	b.ReportAllocs()
	b.SetBytes(int64(len(file)))
	batch := make([]can.Frame, 512)
	total := 0
	for b.Loop() {
		r, err := capture.NewReader(bytes.NewReader(file), "traffic")
		require.NoError(b, err)
		for {
			n, err := r.Receive(batch, clock.Never)
			if err == io.EOF {
				break
			}
			if err != nil {
				b.Fatal(err)
			}
			total += n
		}
	}
	b.ReportMetric(float64(total)/b.Elapsed().Seconds()/1e6, "Mframes/s")
}

func pcapngFile(tb testing.TB, frames []can.Frame) []byte {
	var file bytes.Buffer
	w, err := capture.NewWriter(&file, "can0", "can1")
	require.NoError(tb, err)
	for _, f := range frames {
		require.NoError(tb, w.Write(f, capture.Inbound))
	}
	require.NoError(tb, w.Close())
	return file.Bytes()
}

func BenchmarkReader_Pcapng(b *testing.B) { benchmarkReader(b, pcapngFile(b, traffic())) }

func BenchmarkReader_Pcap(b *testing.B) {
	var file bytes.Buffer
	w := pcapgo.NewWriterNanos(&file)
	require.NoError(b, w.WriteFileHeader(65536, linkCAN))
	for _, f := range traffic() {
		p := packet(&f)
		require.NoError(b, w.WritePacket(info(f.Time, p), p))
	}
	benchmarkReader(b, file.Bytes())
}

func BenchmarkReader_CandumpLog(b *testing.B) {
	var file bytes.Buffer
	for _, f := range traffic() {
		file.WriteString(logLine(&f))
	}
	benchmarkReader(b, file.Bytes())
}

func BenchmarkReader_CandumpTable(b *testing.B) {
	var file bytes.Buffer
	for _, f := range traffic() {
		file.WriteString("  can0  18FEEE00   [8]  8E F2 DD E8 00 96 64 40\n")
		_ = f
	}
	benchmarkReader(b, file.Bytes())
}

func BenchmarkWriter(b *testing.B) {
	b.ReportAllocs()
	frames := traffic()
	w, err := capture.NewWriter(io.Discard, "can0", "can1")
	require.NoError(b, err)
	total := 0
	for b.Loop() {
		for i := range frames {
			if err := w.Write(frames[i], capture.Inbound); err != nil {
				b.Fatal(err)
			}
		}
		total += len(frames)
	}
	b.ReportMetric(float64(total)/b.Elapsed().Seconds()/1e6, "Mframes/s")
}

// Reading allocates for the reader and not for the frames.
func TestReader_AllocatesNothingPerFrame(t *testing.T) {
	frames := traffic()[:50_000]
	var text bytes.Buffer
	for i := range frames {
		text.WriteString(logLine(&frames[i]))
	}
	batch := make([]can.Frame, 256)
	for name, file := range map[string][]byte{"candump": text.Bytes(), "pcapng": pcapngFile(t, frames)} {
		r, err := capture.NewReader(bytes.NewReader(file), name)
		require.NoError(t, err)
		for range 10 { // the interfaces' names are kept once
			_, err := r.Receive(batch, clock.Never)
			require.NoError(t, err)
		}
		allocated := testing.AllocsPerRun(100, func() {
			if n, err := r.Receive(batch, clock.Never); err != nil || n == 0 {
				t.Fatal(n, err)
			}
		})
		require.Zero(t, allocated, name)
	}
}
