package mdf

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strings"
)

// ErrCorrupt says that the structure of the file is broken.
var ErrCorrupt = errors.New("broken MDF 4 file")

// Limits of what a hostile file can make the reader hold.
const (
	maxMeta   = 1 << 20  // bytes of one block of metadata
	maxLinks  = 1 << 16  // links of one block
	maxBlocks = 1 << 17  // blocks of a file: links that lead in a circle end here
	maxZipped = 64 << 20 // bytes of one compressed block, unpacked (the standard recommends 4 MiB)
	headBytes = 24
)

// file is the whole input.
type file struct {
	in         io.ReaderAt
	size       int64
	unfinished bool // the logger did not finalise the file
	blocks     int  // read so far
}

// block is one block's head and links.
type block struct {
	kind  string
	at    int64
	end   int64 // of the whole block
	links []int64
	body  int64 // where the bytes after the links begin
}

func corrupt(at int64, what string, args ...any) error {
	return fmt.Errorf("%w: byte %d: %s", ErrCorrupt, at, fmt.Sprintf(what, args...))
}

// block reads the head and the links of a block of one of the kinds.
func (f *file) block(at int64, kinds ...string) (block, error) {
	var head [headBytes]byte
	if f.blocks++; f.blocks > maxBlocks {
		return block{}, corrupt(at, "more than %d blocks, or links that lead in a circle", maxBlocks)
	}
	if at <= 0 || at > f.size-headBytes {
		return block{}, corrupt(at, "a link leads outside the file (%d bytes)", f.size)
	}
	if _, err := f.in.ReadAt(head[:], at); err != nil {
		return block{}, corrupt(at, "cannot be read: %v", err)
	}
	length, links := binary.LittleEndian.Uint64(head[8:]), binary.LittleEndian.Uint64(head[16:])
	b := block{kind: string(head[2:4]), at: at}
	if head[0] != '#' || head[1] != '#' {
		return b, corrupt(at, "no block begins here: % x", head[:4])
	}
	if !strings.Contains(" "+strings.Join(kinds, " ")+" ", " "+b.kind+" ") {
		return b, corrupt(at, "a block %q where %s was expected", b.kind, strings.Join(kinds, " or "))
	}
	if f.unfinished && (b.kind == "DT" || b.kind == "SD") && f.openEnd(at, length) {
		length = uint64(f.size - at)
	}
	if links > maxLinks || length < headBytes+8*links || length > uint64(f.size-at) {
		return b, corrupt(at, "block %q of %d bytes with %d links does not fit the file", b.kind, length, links)
	}
	raw := make([]byte, 8*links)
	if _, err := f.in.ReadAt(raw, at+headBytes); err != nil {
		return b, corrupt(at, "cannot be read: %v", err)
	}
	for ; len(raw) > 0; raw = raw[8:] {
		b.links = append(b.links, int64(binary.LittleEndian.Uint64(raw)))
	}
	b.body, b.end = at+headBytes+8*int64(links), at+int64(length)
	return b, nil
}

// openEnd reports whether a data block of an unfinished file goes on to the end of the file: its length was never
// filled in, or is that of an empty block though something other than a block follows.
func (f *file) openEnd(at int64, length uint64) bool {
	if length < headBytes || length > uint64(f.size-at) {
		return true
	}
	next := at + int64(length)
	if length > headBytes || next >= f.size {
		return false
	}
	var mark [2]byte
	_, err := f.in.ReadAt(mark[:], next)
	return err != nil || string(mark[:]) != "##"
}

// bytes reads the body of a block of metadata.
func (f *file) bytes(b block) ([]byte, error) {
	if b.end-b.body > maxMeta {
		return nil, corrupt(b.at, "block %q of %d bytes of metadata", b.kind, b.end-b.body)
	}
	raw := make([]byte, b.end-b.body)
	if _, err := f.in.ReadAt(raw, b.body); err != nil && len(raw) > 0 {
		return nil, corrupt(b.at, "cannot be read: %v", err)
	}
	return raw, nil
}

// meta reads a block and its body, which must have at least so many links and bytes.
func (f *file) meta(at int64, links, size int, kinds ...string) (block, []byte, error) {
	b, err := f.block(at, kinds...)
	if err != nil {
		return b, nil, err
	}
	raw, err := f.bytes(b)
	if err == nil && (len(b.links) < links || len(raw) < size) {
		err = corrupt(at, "block %q is too short: %d links, %d bytes", b.kind, len(b.links), len(raw))
	}
	return b, raw, err
}

// text reads a text block; "" for link 0.
func (f *file) text(at int64) (string, error) {
	if at == 0 {
		return "", nil
	}
	_, raw, err := f.meta(at, 0, 0, "TX", "MD")
	text, _, _ := strings.Cut(string(raw), "\x00")
	return text, err
}
