package capture_test

import (
	"bytes"
	"encoding/binary"
	"math"
	"testing"
	"testing/iotest"
	"time"

	"github.com/gopacket/gopacket"
	"github.com/gopacket/gopacket/layers"
	"github.com/gopacket/gopacket/pcapgo"
	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"
	"pgregory.net/rapid"

	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/clock"
)

const linkCAN = layers.LinkType(227)

// some frames of every kind, a second apart.
func someFrames() []can.Frame {
	return []can.Frame{
		{Frame: extended(0x18FEEE00, 1, 2, 3, 4, 5, 6, 7, 8), Time: 1_000_000_001},
		{Frame: einride.Frame{ID: 0x7FF, Length: 3, Data: einride.Data{9, 8, 7}}, Time: 2_000_000_020},
		{Frame: einride.Frame{ID: 0x123, IsRemote: true, Length: 4}, Time: 3_000_000_300},
		{Frame: extended(0x1FFFFFFF), Time: 4_000_004_000},
		{Frame: einride.Frame{ID: 0x40, Length: 8}, Error: true, Time: 5_000_050_000},
	}
}

func info(at clock.Instant, packet []byte) gopacket.CaptureInfo {
	return gopacket.CaptureInfo{Timestamp: at.Time(), CaptureLength: len(packet), Length: len(packet)}
}

// Oracle: pcapgo writes the file.
func TestPcap_OfAnotherWriter(t *testing.T) {
	for _, c := range []struct {
		name   string
		writer func(*bytes.Buffer) *pcapgo.Writer
		unit   clock.Instant // ns
	}{
		{"microseconds", func(b *bytes.Buffer) *pcapgo.Writer { return pcapgo.NewWriter(b) }, 1000},
		{"nanoseconds", func(b *bytes.Buffer) *pcapgo.Writer { return pcapgo.NewWriterNanos(b) }, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			var file bytes.Buffer
			w := c.writer(&file)
			require.NoError(t, w.WriteFileHeader(65536, linkCAN))
			want := someFrames()
			for i := range want {
				p := packet(&want[i])
				require.NoError(t, w.WritePacket(info(want[i].Time, p), p))
				want[i].Time -= want[i].Time % c.unit
			}
			frames, r := readBytes(t, file.Bytes())
			require.Equal(t, want, frames)
			require.Equal(t, can.Stats{Received: 4, ErrorFrames: 1}, r.Stats())
			frames, _ = readBytes(t, swapPcap(file.Bytes()))
			require.Equal(t, want, frames, "the same in the other byte order")
		})
	}
}

// swapPcap turns the header fields of a classic pcap round.
func swapPcap(file []byte) []byte {
	out := bytes.Clone(file)
	swap := func(at, size int) {
		for i := range size / 2 {
			out[at+i], out[at+size-1-i] = out[at+size-1-i], out[at+i]
		}
	}
	for _, field := range [][2]int{{0, 4}, {4, 2}, {6, 2}, {8, 4}, {12, 4}, {16, 4}, {20, 4}} {
		swap(field[0], field[1])
	}
	for at := 24; at < len(out); {
		captured := int(binary.LittleEndian.Uint32(out[at+8:]))
		for i := range 4 {
			swap(at+4*i, 4)
		}
		at += 16 + captured
	}
	return out
}

func TestPcap_WhatIsNotClassicCANIsCounted(t *testing.T) {
	var file bytes.Buffer
	w := pcapgo.NewWriter(&file)
	require.NoError(t, w.WriteFileHeader(65536, linkCAN))
	good := someFrames()[0]
	fd := append(binary.BigEndian.AppendUint32(nil, 0x123), 8, 4, 0, 0, 1, 2, 3, 4, 5, 6, 7, 8) // FDF flag
	longFD := append(binary.BigEndian.AppendUint32(nil, 0x123), 12, 0, 0, 0)
	longFD = append(longFD, make([]byte, 64)...)
	xl := append(binary.BigEndian.AppendUint32(nil, 0x123), 0x80, 0, 16, 0, 1, 2, 3, 4, 5, 6, 7, 8)
	for _, p := range [][]byte{packet(&good), fd, longFD, xl, {1, 2, 3}, packet(&good)[:12], packet(&good)} {
		require.NoError(t, w.WritePacket(info(good.Time, p), p))
	}
	// Padding that an older kernel left uninitialised, as real recordings have it.
	for _, padding := range []byte{0x2E, 0x2D, 0x7E, 0xAA} {
		p := packet(&good)
		p[5], p[6], p[7] = padding, 0x92, 0x04
		require.NoError(t, w.WritePacket(info(good.Time, p), p))
	}
	frames, r := readBytes(t, file.Bytes())
	require.Len(t, frames, 6)
	require.EqualValues(t, 5, r.Stats().Skipped)
}

func TestPcap_OfAnotherLinkTypeIsRefused(t *testing.T) {
	var file bytes.Buffer
	require.NoError(t, pcapgo.NewWriter(&file).WriteFileHeader(65536, layers.LinkTypeEthernet))
	_, err := capture.NewReader(&file, "lan.pcap")
	require.ErrorIs(t, err, capture.ErrFormat)
	require.ErrorContains(t, err, "lan.pcap")
	require.ErrorContains(t, err, "link type 1; CAN is link type 227")
}

// Oracle: pcapgo writes the file; its interfaces may have any decimal resolution and an offset.
func TestPcapng_OfAnotherWriter(t *testing.T) {
	var file bytes.Buffer
	first := pcapgo.NgInterface{Name: "can0", LinkType: linkCAN, TimestampResolution: 9}
	w, err := pcapgo.NewNgWriterInterface(&file, first, pcapgo.DefaultNgWriterOptions)
	require.NoError(t, err)
	_, err = w.AddInterface(pcapgo.NgInterface{Name: "eth0", LinkType: layers.LinkTypeEthernet})
	require.NoError(t, err)
	_, err = w.AddInterface(pcapgo.NgInterface{Name: "can1", LinkType: linkCAN, TimestampResolution: 9})
	require.NoError(t, err)
	want := someFrames()
	for i := range want {
		device := 2 * (i % 2)
		p := packet(&want[i])
		ci := info(want[i].Time, p)
		ci.InterfaceIndex = device
		require.NoError(t, w.WritePacket(ci, p))
		want[i].Channel = uint8(i % 2)
		ci = info(want[i].Time, make([]byte, 60))
		ci.InterfaceIndex = 1
		require.NoError(t, w.WritePacket(ci, make([]byte, 60)))
	}
	require.NoError(t, w.WriteInterfaceStats(0, pcapgo.NgInterfaceStatistics{PacketsReceived: 3}))
	require.NoError(t, w.Flush())
	frames, r := readBytes(t, file.Bytes())
	require.Equal(t, want, frames)
	require.Equal(t, []string{"can0", "can1"}, r.Channels())
	require.Equal(t, can.Stats{Received: 4, ErrorFrames: 1, Skipped: 5}, r.Stats())
}

// Both byte orders, several sections, and every kind of block; the blocks after draft-ietf-opsawg-pcapng.
func TestPcapng_SectionsOrdersAndBlocks(t *testing.T) {
	f := someFrames()[0]
	var file []byte
	for _, order := range []binary.AppendByteOrder{binary.LittleEndian, binary.BigEndian} {
		b := &ng{order: order}
		b.section()
		b.device(227, uint16(2), uint16(5), []byte("vcan7\x00\x00\x00"), uint16(9), uint16(1), []byte{9, 0, 0, 0})
		b.device(227) // unnamed, microseconds
		b.enhanced(0, 1_500_000_001, packet(&f))
		b.block(0xBAD, []byte("a custom block"))
		b.block(3, uint32(16), packet(&f))                                                         // simple: no time
		b.block(2, uint16(1), uint16(0), uint32(0), uint32(7), uint32(16), uint32(16), packet(&f)) // obsolete
		b.enhanced(1, math.MaxUint32+1, packet(&f)[:15])                                           // cut short
		file = append(file, b.bytes...)
	}
	frames, r := readBytes(t, file)
	one := f
	one.Time = 1_500_000_001
	two := f
	two.Time, two.Channel = 7000, 1
	require.Equal(t, []can.Frame{one, one, two, one, one, two}, frames)
	require.Equal(t, []string{"vcan7", "interface 1"}, r.Channels())
	require.EqualValues(t, 2, r.Untimed())
	require.EqualValues(t, 2, r.Stats().Skipped)
}

// The instants were worked out by hand from the definition of if_tsresol and if_tsoffset.
func TestPcapng_TimeUnits(t *testing.T) {
	f := someFrames()[0]
	for _, c := range []struct {
		name       string
		resolution byte
		offset     int64
		stamp      uint64
		want       clock.Instant
	}{
		{"seconds", 0, 0, 1_700_000_000, 1_700_000_000e9},
		{"milliseconds", 3, 0, 1_700_000_000_123, 1_700_000_000_123e6},
		{"microseconds", 6, 0, 1_700_000_000_123_456, 1_700_000_000_123456e3},
		{"nanoseconds", 9, 0, 1_700_000_000_123_456_789, 1_700_000_000_123456789},
		{"picoseconds", 12, 0, 1_123_456_789_012, 1_123_456_789},
		{"halves", 0x81, 0, 3, 1_500_000_000},
		{"2^-20", 0x80 | 20, 0, 5<<20 + 1<<19, 5_500_000_000},
		{"2^-32", 0x80 | 32, 0, 1_700_000_000<<32 + 1<<30, 1_700_000_000_250000000},
		{"offset", 9, -3600, 7200_000_000_001, 3600_000_000_001},
		{"offset ahead", 6, 1_000_000_000, 1, 1_000_000_000_000_001_000},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := &ng{order: binary.BigEndian}
			b.section()
			b.device(227, uint16(9), uint16(1), []byte{c.resolution, 0, 0, 0}, uint16(14), uint16(8), uint64(c.offset))
			b.enhanced(0, c.stamp, packet(&f))
			frames, _ := readBytes(t, b.bytes)
			require.Equal(t, c.want, frames[0].Time)
		})
	}
}

func TestPcapng_DamageIsSaidWithItsPlace(t *testing.T) {
	f := someFrames()[0]
	begin := func() *ng {
		b := &ng{order: binary.LittleEndian}
		b.section()
		b.device(227)
		b.enhanced(0, 1, packet(&f))
		return b
	}
	at := len(begin().bytes)
	for _, c := range []struct {
		name   string
		damage func(b *ng)
		want   string
	}{
		{"unknown interface", func(b *ng) { b.enhanced(5, 1, packet(&f)) }, "interface 5, which is not described"},
		{"lengths differ", func(b *ng) {
			b.enhanced(0, 1, packet(&f))
			b.bytes[len(b.bytes)-1]++
		}, "two lengths differ"},
		{"length not aligned", func(b *ng) {
			b.bytes = append(b.bytes, 6, 0, 0, 0, 13, 0, 0, 0, 0, 0, 0, 0)
		}, "a block of 13 bytes"},
		{"length zero", func(b *ng) { b.bytes = append(b.bytes, make([]byte, 12)...) }, "a block of 0 bytes"},
		{"packet longer than block", func(b *ng) {
			b.block(6, uint32(0), uint64(0), uint32(99), uint32(99), packet(&f))
		}, "a packet of 99 bytes in a block that has 16"},
		{"byte order", func(b *ng) { b.block(0x0A0D0D0A, uint32(1)) }, "unknown byte order"},
		{"too short", func(b *ng) { b.block(6, uint32(0)) }, "too short"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := begin()
			c.damage(b)
			r, err := capture.NewReader(bytes.NewReader(b.bytes), "run.pcapng")
			require.NoError(t, err)
			frames := make([]can.Frame, 8)
			n, err := r.Receive(frames, clock.Never)
			require.NoError(t, err, "what is before the damage is handed out")
			require.Equal(t, 1, n)
			_, err = r.Receive(frames, clock.Never)
			require.ErrorIs(t, err, capture.ErrCorrupt)
			require.ErrorContains(t, err, "run.pcapng")
			require.ErrorContains(t, err, c.want)
			require.ErrorContains(t, err, "byte "+itoa(at))
		})
	}
}

// A power cut leaves a file that ends anywhere: what is whole is read, and the cut is told.
func TestBinary_CutAnywhere(t *testing.T) {
	want := someFrames()
	var pcap, pcapng bytes.Buffer
	old := pcapgo.NewWriterNanos(&pcap)
	require.NoError(t, old.WriteFileHeader(65536, linkCAN))
	w, err := capture.NewWriter(&pcapng, "can0")
	require.NoError(t, err)
	for i := range want {
		p := packet(&want[i])
		require.NoError(t, old.WritePacket(info(want[i].Time, p), p))
		require.NoError(t, w.Write(want[i], capture.Inbound))
	}
	require.NoError(t, w.Flush())
	for _, c := range []struct {
		file   []byte
		header int
		record int
	}{{pcap.Bytes(), 24, 32}, {pcapng.Bytes(), pcapng.Len() - 5*60, 60}} {
		for cut := c.header; cut <= len(c.file); cut++ {
			frames, r := readBytes(t, c.file[:cut])
			whole := (cut - c.header) / c.record
			require.Len(t, frames, whole)
			count, _ := r.Malformed()
			require.Equal(t, (cut-c.header)%c.record != 0, count == 1, "cut at %d", cut)
		}
	}
}

// A block longer than what is held in memory is passed over.
func TestPcapng_HugeBlocks(t *testing.T) {
	f := someFrames()[0]
	b := &ng{order: binary.LittleEndian}
	b.section()
	b.device(1)
	b.device(227)
	b.enhanced(0, 1, make([]byte, 1<<20))
	b.block(0xBAD, make([]byte, 600_000))
	b.enhanced(1, 1, packet(&f))
	frames, r := readBytes(t, b.bytes)
	require.Len(t, frames, 1)
	require.EqualValues(t, 1, r.Stats().Skipped)
	one, err := capture.NewReader(iotest.OneByteReader(bytes.NewReader(b.bytes)), "pieces")
	require.NoError(t, err)
	require.Len(t, readAll(t, one, 1), 1)
	frames, r = readBytes(t, b.bytes[:500_000])
	require.Empty(t, frames)
	count, _ := r.Malformed()
	require.EqualValues(t, 1, count)
}

// Any frames through the writer come back, from our reader and from pcapgo's.
func TestWriter_RoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var file bytes.Buffer
		w, err := capture.NewWriter(&file, "can0", "vcan1", "x")
		require.NoError(t, err)
		var want []can.Frame
		for range rapid.IntRange(0, 30).Draw(t, "frames") {
			f := drawFrame(t, 3)
			want = append(want, f)
			d := capture.Direction(rapid.IntRange(0, 2).Draw(t, "direction"))
			require.NoError(t, w.Write(f, d))
		}
		require.NoError(t, w.Flush())

		options := pcapgo.NgReaderOptions{WantMixedLinkType: true}
		oracle, err := pcapgo.NewNgReader(bytes.NewReader(file.Bytes()), options)
		require.NoError(t, err)
		for i := range want {
			data, ci, err := oracle.ReadPacketData()
			require.NoError(t, err)
			require.Equal(t, packet(&want[i]), data)
			require.True(t, time.Unix(0, int64(want[i].Time)).Equal(ci.Timestamp))
			require.Equal(t, int(want[i].Channel), ci.InterfaceIndex)
		}
		r, err := capture.NewReader(&file, "written")
		require.NoError(t, err)
		batch := make([]can.Frame, 64)
		n, err := r.Receive(batch, clock.Never)
		if len(want) > 0 {
			require.NoError(t, err)
		}
		require.Equal(t, want, append([]can.Frame(nil), batch[:n]...))
		if n > 0 {
			require.Equal(t, []string{"can0", "vcan1", "x"}, r.Channels())
			require.Equal(t, want[n-1].Time, r.Now())
		}
	})
}
