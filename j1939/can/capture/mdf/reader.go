package mdf

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// waitingMost is how many frames of an unsorted file may wait for their data bytes.
const waitingMost = 1 << 16

// Record is one record of a bus. Bad says what is wrong with one that holds no frame; FD that it is a frame of CAN FD,
// whose payload is not read.
type Record struct {
	can.Frame
	Bus uint64 // number of the bus as the logger counts
	FD  bool
	Bad string
}

// Reader reads the records of a file in order of their times, data group by data group where those agree. It is not
// safe for use by several goroutines.
type Reader struct {
	file
	start   int64 // ns since 1970
	sources []*source
}

// source is one data group.
type source struct {
	r       *Reader
	in      *bufio.Reader
	idBytes int
	groups  map[uint64]*group
	byLink  map[int64]*group
	values  map[valueKey][]byte
	queue   []waiting
	record  []byte
	number  int64
	ended   bool
}

type valueKey struct {
	group  *group
	offset uint64
}

// waiting is a record that was read; group is not nil while its data bytes have not come.
type waiting struct {
	Record
	group  *group
	offset uint64
}

// Is reports whether a file of MDF 4 begins so, finalised or not. MDF 3 begins alike and has another version.
func Is(head []byte) bool {
	return len(head) >= 12 && (string(head[:8]) == "MDF     " || string(head[:8]) == "UnFinMF ") && head[8] == '4'
}

// New reads the metadata of a file of that size in bytes.
func New(in io.ReaderAt, size int64) (*Reader, error) {
	r := &Reader{file: file{in: in, size: size}}
	var head [64]byte
	if _, err := in.ReadAt(head[:], 0); err != nil || !Is(head[:]) {
		return nil, corrupt(0, "an MDF 4 file begins with 64 bytes of identification")
	}
	r.unfinished = head[0] == 'U'
	hd, raw, err := r.meta(64, 6, 8, "HD")
	if err != nil {
		return nil, err
	}
	r.start = int64(binary.LittleEndian.Uint64(raw))
	for at := hd.links[0]; at != 0; {
		if at, err = r.addSource(at); err != nil {
			return nil, err
		}
	}
	if len(r.sources) == 0 {
		return nil, corrupt(hd.at, "no channel group holds CAN frames (bus logging by ASAM)")
	}
	return r, nil
}

// addSource reads a data group, and keeps it when it holds frames.
func (r *Reader) addSource(at int64) (next int64, err error) {
	dg, raw, err := r.meta(at, 4, 1, "DG")
	if err != nil {
		return 0, err
	}
	s := &source{r: r, idBytes: int(raw[0]), groups: map[uint64]*group{}, byLink: map[int64]*group{},
		values: map[valueKey][]byte{}}
	holds := false
	for link := dg.links[1]; link != 0; {
		g, following, err := r.readGroup(link)
		if err != nil {
			return 0, err
		}
		s.groups[g.record], s.byLink[link] = g, g
		holds = holds || g.kind == dataFrame || g.kind == remote || g.kind == errorFrame
		link = following
	}
	if !holds {
		return dg.links[0], nil
	}
	switch {
	case s.idBytes == 0 && len(s.groups) > 1:
		return 0, corrupt(at, "several channel groups whose records have no identifier")
	case s.idBytes != 0 && s.idBytes != 1 && s.idBytes != 2 && s.idBytes != 4 && s.idBytes != 8:
		return 0, corrupt(at, "identifiers of records of %d bytes", s.idBytes)
	}
	pieces, err := r.chain(dg.links[2])
	if err != nil {
		return 0, err
	}
	s.in = bufio.NewReaderSize(&stream{f: &r.file, pieces: pieces}, 64<<10)
	r.sources = append(r.sources, s)
	return dg.links[0], nil
}

// Next gives the next record; io.EOF at the end.
func (r *Reader) Next(record *Record) error {
	var first *source
	for _, s := range r.sources {
		if err := s.fill(); err != nil {
			return err
		}
		if len(s.queue) > 0 && (first == nil || s.queue[0].Time < first.queue[0].Time) {
			first = s
		}
	}
	if first == nil {
		return io.EOF
	}
	*record = first.queue[0].Record
	first.queue = first.queue[1:]
	return nil
}

// fill reads until the first record of the queue is whole or nothing more comes.
func (s *source) fill() error {
	for {
		if len(s.queue) > 0 && s.complete(&s.queue[0]) {
			return nil
		}
		if s.ended {
			return nil
		}
		if err := s.step(); err == io.EOF || err == io.ErrUnexpectedEOF {
			if err == io.ErrUnexpectedEOF {
				s.bad("the recording ends inside a record")
			}
			s.ended = true
		} else if err != nil {
			return err
		}
	}
}

// complete gives a record its data bytes when they have come, or gives up on them.
func (s *source) complete(w *waiting) bool {
	if w.group == nil {
		return true
	}
	key := valueKey{w.group, w.offset}
	value, ok := s.values[key]
	switch {
	case ok:
		delete(s.values, key)
		w.setData(value, len(value))
	case s.ended || len(s.queue) > waitingMost:
		w.Bad = "a frame without its data bytes"
	default:
		return false
	}
	w.group = nil
	return true
}

func (s *source) bad(what string) {
	w := waiting{}
	if n := len(s.queue); n > 0 {
		w.Time = s.queue[n-1].Time
	}
	w.Bad = fmt.Sprintf("record %d: %s", s.number, what)
	s.queue = append(s.queue, w)
}

// step reads one record.
func (s *source) step() error {
	var id [8]byte
	if s.idBytes > 0 {
		if n, err := io.ReadFull(s.in, id[:s.idBytes]); err != nil {
			return endInside(n > 0, err)
		}
	} else if _, err := s.in.Peek(1); err != nil {
		return err
	}
	s.number++
	g := s.groups[binary.LittleEndian.Uint64(id[:])]
	if s.idBytes == 0 {
		for _, g = range s.groups {
		}
	}
	if g == nil {
		s.bad("of no channel group: what follows cannot be read")
		return io.EOF
	}
	if g.kind == variable {
		return s.stepValue(g)
	}
	if cap(s.record) < g.size {
		s.record = make([]byte, g.size)
	}
	record := s.record[:g.size]
	if _, err := io.ReadFull(s.in, record); err != nil {
		return endInside(true, err)
	}
	if g.kind != other {
		s.enter(g, record)
	}
	return nil
}

func endInside(inside bool, err error) error {
	if inside && err == io.EOF {
		return io.ErrUnexpectedEOF
	}
	return err
}

// stepValue reads a value of variable length: its length in four bytes, then its bytes.
func (s *source) stepValue(g *group) error {
	var head [4]byte
	if _, err := io.ReadFull(s.in, head[:]); err != nil {
		return endInside(true, err)
	}
	size := binary.LittleEndian.Uint32(head[:])
	key := valueKey{g, g.offset}
	g.offset += uint64(size) + 4
	if size > 64 || len(s.values) > waitingMost { // no data of a CAN frame
		_, err := io.CopyN(io.Discard, s.in, int64(size))
		return endInside(true, err)
	}
	value := make([]byte, size)
	if _, err := io.ReadFull(s.in, value); err != nil {
		return endInside(true, err)
	}
	s.values[key] = value
	return nil
}

// enter puts a record of a frame into the queue.
func (s *source) enter(g *group, record []byte) {
	w := waiting{}
	seconds := g.time.value(record)
	if ns := seconds * 1e9; math.Abs(ns) < math.MaxInt64/4 {
		w.Time = clock.Instant(s.r.start + int64(math.Round(ns)))
	} else {
		w.Bad = fmt.Sprintf("record %d: a time of %g s", s.number, seconds)
	}
	w.Bus = g.bus.raw(record)
	w.Frame.Frame = einride.Frame{}
	w.Error = g.kind == errorFrame
	w.FD = g.fd.raw(record) != 0
	if !w.Error {
		w.setIdentifier(g, record)
	}
	length := int(g.length.raw(record))
	if g.length.bits == 0 {
		length = int(g.dlc.raw(record))
	}
	switch {
	case g.kind == remote:
		w.IsRemote, w.Length = true, uint8(min(g.dlc.raw(record), 8))
	case g.kind != dataFrame || w.Bad != "":
	case g.dataKind == byGroup:
		w.group, w.offset = s.byLink[g.vlsd], g.data.raw(record)
		if w.group == nil || w.group.kind != variable {
			w.group, w.Bad = nil, "a frame whose data bytes stand in no group of values"
		}
	case g.dataKind == byBlock:
		var room [64]byte
		if value, ok := g.signal.value(g.data.raw(record), room[:]); ok {
			w.setData(value, len(value))
		} else {
			w.Bad = fmt.Sprintf("record %d: its data bytes cannot be read", s.number)
		}
	default:
		end := g.data.byte + g.data.bits/8
		w.setData(record[min(g.data.byte, len(record)):min(end, len(record))], length)
	}
	s.queue = append(s.queue, w)
}

// setIdentifier takes identifier and kind of identifier; where there is no channel for the kind, bit 31 says it.
func (w *waiting) setIdentifier(g *group, record []byte) {
	id := g.id.raw(record)
	w.IsExtended = g.extended.raw(record) != 0
	if g.extended.bits == 0 {
		w.IsExtended = id&(1<<31) != 0 || id&0x1FFFFFFF > 0x7FF
	}
	w.ID = uint32(id & 0x1FFFFFFF)
	if !w.IsExtended && w.ID > 0x7FF {
		w.Bad = fmt.Sprintf("an 11-bit identifier of 0x%X", w.ID)
	}
}

func (w *waiting) setData(value []byte, length int) {
	if w.FD {
		return
	}
	if length > 8 || length > len(value) {
		w.Bad = fmt.Sprintf("a frame of %d bytes, %d of them there", length, len(value))
		return
	}
	w.Length = uint8(length)
	copy(w.Data[:], value[:length])
}
