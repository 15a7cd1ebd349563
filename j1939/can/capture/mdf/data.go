package mdf

import (
	"compress/zlib"
	"encoding/binary"
	"io"
	"sort"
)

// piece is one data block of a chain.
type piece struct {
	block
	zipped   bool
	columns  int64 // of the transposition; 0: none
	unpacked int64 // bytes of data
	from     int64 // where its data begin in the chain
}

// chain finds the data blocks behind a link: one block, or lists of them. Link 0 is an empty chain.
func (f *file) chain(at int64) ([]piece, error) {
	var all []piece
	err := f.follow(at, &all, 0)
	total, packed := int64(0), int64(0)
	for i := range all {
		all[i].from = total
		total += all[i].unpacked
		packed += all[i].end - all[i].at
	}
	if err == nil && packed > f.size {
		err = corrupt(at, "lists that name a data block twice")
	}
	return all, err
}

func (f *file) follow(at int64, all *[]piece, depth int) error {
	for at != 0 {
		if depth > 2 {
			return corrupt(at, "lists of data blocks inside lists")
		}
		b, err := f.block(at, "DT", "SD", "RD", "DZ", "DL", "HL")
		if err != nil {
			return err
		}
		switch b.kind {
		case "DZ":
			p, err := f.zipped(b)
			*all = append(*all, p)
			return err
		case "DT", "SD", "RD":
			*all = append(*all, piece{block: b, unpacked: b.end - b.body})
			return nil
		}
		if len(b.links) == 0 {
			return corrupt(at, "a list without links")
		}
		if b.kind == "HL" {
			at, depth = b.links[0], depth+1
			continue
		}
		for _, link := range b.links[1:] {
			if link == 0 {
				continue
			}
			if err := f.follow(link, all, depth+1); err != nil {
				return err
			}
		}
		at = b.links[0]
	}
	return nil
}

// zipped reads the head of a compressed block: kind of block, kind of compression, columns, lengths.
func (f *file) zipped(b block) (piece, error) {
	const head = 24
	var raw [head]byte
	if b.end-b.body < head {
		return piece{}, corrupt(b.at, "a compressed block of %d bytes", b.end-b.body)
	}
	if _, err := f.in.ReadAt(raw[:], b.body); err != nil {
		return piece{}, corrupt(b.at, "cannot be read: %v", err)
	}
	p := piece{block: b, zipped: true, unpacked: int64(binary.LittleEndian.Uint64(raw[8:]))}
	switch raw[2] {
	case 0:
	case 1:
		p.columns = int64(binary.LittleEndian.Uint32(raw[4:]))
	default:
		return p, corrupt(b.at, "compression of kind %d is not known (0: deflate, 1: transposed)", raw[2])
	}
	if p.unpacked < 0 || p.unpacked > maxZipped {
		return p, corrupt(b.at, "a compressed block of %d bytes unpacked", p.unpacked)
	}
	p.body += head
	return p, nil
}

// unpack returns the data of a compressed block.
func (f *file) unpack(p piece) ([]byte, error) {
	z, err := zlib.NewReader(io.NewSectionReader(f.in, p.body, p.end-p.body))
	if err != nil {
		return nil, corrupt(p.at, "compressed data: %v", err)
	}
	data, err := io.ReadAll(io.LimitReader(z, p.unpacked+1))
	if err != nil {
		return nil, corrupt(p.at, "compressed data: %v", err)
	}
	if int64(len(data)) != p.unpacked {
		return nil, corrupt(p.at, "%d bytes unpacked, %d promised", len(data), p.unpacked)
	}
	if p.columns > 1 {
		data = transpose(data, int(p.columns))
	}
	return data, nil
}

// transpose turns columns back into records; what does not fill a record stands behind as it is.
func transpose(data []byte, columns int) []byte {
	rows := len(data) / columns
	out := make([]byte, len(data))
	for c := range columns {
		for r := range rows {
			out[r*columns+c] = data[c*rows+r]
		}
	}
	copy(out[rows*columns:], data[rows*columns:])
	return out
}

// stream reads a chain from its beginning to its end.
type stream struct {
	f      *file
	pieces []piece
	now    io.Reader
}

func (s *stream) Read(dst []byte) (int, error) {
	for {
		if s.now != nil {
			n, err := s.now.Read(dst)
			if n > 0 || err != io.EOF {
				return n, err
			}
		}
		if len(s.pieces) == 0 {
			return 0, io.EOF
		}
		p := s.pieces[0]
		s.pieces = s.pieces[1:]
		if !p.zipped {
			s.now = io.NewSectionReader(s.f.in, p.body, p.end-p.body)
			continue
		}
		data, err := s.f.unpack(p)
		if err != nil {
			return 0, err
		}
		s.now = &sliceReader{data}
	}
}

type sliceReader struct{ rest []byte }

func (s *sliceReader) Read(dst []byte) (int, error) {
	if len(s.rest) == 0 {
		return 0, io.EOF
	}
	n := copy(dst, s.rest)
	s.rest = s.rest[n:]
	return n, nil
}

// signalData is a chain that is read at offsets: the data bytes of a sorted file. It keeps one unpacked block.
type signalData struct {
	f      *file
	pieces []piece
	kept   int // index of the unpacked block
	data   []byte
}

// value reads the bytes that stand at offset behind their length; false when there are none.
func (s *signalData) value(offset uint64, dst []byte) ([]byte, bool) {
	var head [4]byte
	if !s.readAt(head[:], offset) {
		return nil, false
	}
	n := int(binary.LittleEndian.Uint32(head[:]))
	if n > cap(dst) {
		return nil, false
	}
	return dst[:n], s.readAt(dst[:n], offset+4)
}

func (s *signalData) readAt(dst []byte, offset uint64) bool {
	first := sort.Search(len(s.pieces), func(i int) bool { return uint64(s.pieces[i].from+s.pieces[i].unpacked) > offset })
	for i := first; i < len(s.pieces) && len(dst) > 0; i++ {
		p := &s.pieces[i]
		if p.unpacked == 0 {
			continue
		}
		at := int64(offset) - p.from
		n := int(min(int64(len(dst)), p.unpacked-at))
		if p.zipped {
			if s.data == nil || s.kept != i {
				data, err := s.f.unpack(*p)
				if err != nil {
					return false
				}
				s.data, s.kept = data, i
			}
			copy(dst[:n], s.data[at:])
		} else if _, err := s.f.in.ReadAt(dst[:n], p.body+at); err != nil {
			return false
		}
		dst, offset = dst[n:], offset+uint64(n)
	}
	return len(dst) == 0
}
