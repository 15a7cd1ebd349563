package mdf_test

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"io"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can/capture/mdf"
)

// writer lays out blocks after the published overview of the standard (ASAM MDF 4.1): sorted files, which the recordings
// beside the repository do not hold.
type writer struct{ bytes.Buffer }

func (w *writer) block(kind string, links []uint64, body []byte) uint64 {
	for w.Len()%8 != 0 {
		w.WriteByte(0)
	}
	at := uint64(w.Len())
	w.WriteString("##" + kind + "\x00\x00\x00\x00")
	for _, n := range append([]uint64{uint64(24 + 8*len(links) + len(body)), uint64(len(links))}, links...) {
		w.Write(binary.LittleEndian.AppendUint64(nil, n))
	}
	w.Write(body)
	return at
}

func (w *writer) text(s string) uint64 { return w.block("TX", nil, append([]byte(s), 0)) }

// channel is one CN block; next and composition are links.
func (w *writer) channel(name string, next, data uint64, kind, sync, dataType, bit byte, at, bits uint32) uint64 {
	body := make([]byte, 72)
	body[0], body[1], body[2], body[3] = kind, sync, dataType, bit
	binary.LittleEndian.PutUint32(body[4:], at)
	binary.LittleEndian.PutUint32(body[8:], bits)
	return w.block("CN", []uint64{next, 0, w.text(name), 0, 0, data, 0, 0}, body)
}

// frames is how many are written; frame i has the time i ms, the identifier i, and i%9 bytes of the value i.
const frames = 40

// sorted makes a file of one sorted group. Records: time (8 bytes, float seconds), identifier with the kind in bit 31 (4),
// length (1), and either 8 data bytes or an 8-byte offset.
func sorted(t testing.TB, transposed, inSignalData bool) []byte {
	w := &writer{}
	id := make([]byte, 64)
	copy(id, "MDF     4.11    test    ")
	w.Write(id)
	w.Write(make([]byte, 104+24)) // HD, filled in last
	var records, values []byte
	for i := range uint32(frames) {
		records = binary.LittleEndian.AppendUint64(records, math.Float64bits(float64(i)/1000))
		records = binary.LittleEndian.AppendUint32(records, i|1<<31)
		records = append(records, byte(i%9))
		data := bytes.Repeat([]byte{byte(i)}, int(i%9))
		if inSignalData {
			records = binary.LittleEndian.AppendUint64(records, uint64(len(values)))
			values = append(binary.LittleEndian.AppendUint32(values, i%9), data...)
		} else {
			records = append(append(records, data...), make([]byte, 8-i%9+8)[:8-min(8, i%9)]...)
		}
	}
	const size = 8 + 4 + 1 + 8
	var data, signal uint64
	half := frames / 2 * size
	data = w.block("DL", []uint64{0, w.zipped(t, "DT", records[:half], transposed, size),
		w.block("DT", nil, records[half:])}, make([]byte, 16))
	if inSignalData {
		signal = w.block("HL", []uint64{w.block("DL", []uint64{0, w.block("SD", nil, values[:30]),
			w.zipped(t, "SD", values[30:], false, 0)}, make([]byte, 16))}, make([]byte, 8))
	}
	kind := byte(0)
	if inSignalData {
		kind = 1
	}
	bytesChannel := w.channel("CAN_DataFrame.DataBytes", 0, signal, kind, 0, 10, 0, 13, 64)
	length := w.channel("CAN_DataFrame.DataLength", bytesChannel, 0, 0, 0, 0, 0, 12, 8)
	ide := w.channel("CAN_DataFrame.IDE", length, 0, 0, 0, 0, 7, 11, 1)
	identifier := w.channel("CAN_DataFrame.ID", ide, 0, 0, 0, 0, 0, 8, 29)
	time := w.channel("Timestamp", identifier, 0, 2, 1, 4, 0, 0, 64)
	source := w.block("SI", []uint64{w.text("CAN"), 0, 0}, []byte{2, 2, 0, 0, 0, 0, 0, 0})
	cg := make([]byte, 32)
	binary.LittleEndian.PutUint32(cg[24:], size)
	group := w.block("CG", []uint64{0, time, 0, source, 0, 0}, cg)
	dg := w.block("DG", []uint64{0, group, data, 0}, make([]byte, 8))
	out := w.Bytes()
	head := &writer{}
	start := binary.LittleEndian.AppendUint64(nil, 1_700_000_000_000_000_000)
	head.block("HD", []uint64{dg, 0, 0, 0, 0, 0}, append(start, make([]byte, 24)...))
	copy(out[64:], head.Bytes())
	return out
}

func (w *writer) zipped(t testing.TB, kind string, data []byte, transposed bool, columns int) uint64 {
	head := make([]byte, 24)
	copy(head, kind)
	binary.LittleEndian.PutUint64(head[8:], uint64(len(data)))
	if transposed {
		head[2] = 1
		binary.LittleEndian.PutUint32(head[4:], uint32(columns))
		rows, turned := len(data)/columns, make([]byte, len(data))
		for r := range rows {
			for c := range columns {
				turned[c*rows+r] = data[r*columns+c]
			}
		}
		data = turned
	}
	var z bytes.Buffer
	c := zlib.NewWriter(&z)
	_, err := c.Write(data)
	require.NoError(t, err)
	require.NoError(t, c.Close())
	binary.LittleEndian.PutUint64(head[16:], uint64(z.Len()))
	return w.block("DZ", nil, append(head, z.Bytes()...))
}

func TestReader_SortedAndCompressed(t *testing.T) {
	for name, c := range map[string]struct{ transposed, inSignalData bool }{
		"deflate": {}, "transposed": {transposed: true}, "signal data": {inSignalData: true},
	} {
		t.Run(name, func(t *testing.T) {
			file := sorted(t, c.transposed, c.inSignalData)
			r, err := mdf.New(bytes.NewReader(file), int64(len(file)))
			require.NoError(t, err)
			for i := range frames {
				var got mdf.Record
				require.NoError(t, r.Next(&got))
				require.Empty(t, got.Bad)
				require.EqualValues(t, i, got.ID)
				require.True(t, got.IsExtended)
				require.EqualValues(t, i%9, got.Length)
				require.Equal(t, bytes.Repeat([]byte{byte(i)}, i%9), got.Data[:got.Length])
				require.EqualValues(t, 1_700_000_000_000_000_000+i*1_000_000, got.Time)
			}
			require.Equal(t, io.EOF, r.Next(new(mdf.Record)))
		})
	}
}

func TestNew_Refuses(t *testing.T) {
	file := sorted(t, false, false)
	for name, broken := range map[string][]byte{
		"empty": nil, "head only": file[:64], "version 3": append([]byte("MDF     3.30    "), file[16:]...),
		"no data group": append(append([]byte{}, file[:64]...), make([]byte, 200)...),
	} {
		_, err := mdf.New(bytes.NewReader(broken), int64(len(broken)))
		require.ErrorIs(t, err, mdf.ErrCorrupt, name)
	}
}

// Whatever the bytes are: no panic, an end, and only frames that a bus can carry.
func FuzzReader(f *testing.F) {
	for _, c := range [][2]bool{{false, false}, {true, false}, {false, true}} {
		file := sorted(f, c[0], c[1])
		f.Add(file)
		f.Add(append([]byte("UnFinMF "), file[8:]...))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := mdf.New(bytes.NewReader(data), int64(len(data)))
		if err != nil {
			return
		}
		var record mdf.Record
		for range 1 << 16 {
			if r.Next(&record) != nil {
				return
			}
			if record.Bad == "" && !record.FD {
				require.LessOrEqual(t, record.Length, uint8(8))
				require.LessOrEqual(t, record.ID, uint32(0x1FFFFFFF))
			}
		}
	})
}
