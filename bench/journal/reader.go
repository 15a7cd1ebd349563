package journal

import (
	"bufio"
	"bytes"
	"crypto/ed25519"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"holdfast/bench/disk"
	"holdfast/bench/samples"
)

// Open reads the journal at path. See Read.
func Open(path string) (Header, *samples.Recording, error) {
	f, err := disk.Open(path)
	if err != nil {
		return Header{}, nil, fmt.Errorf("open journal: %w", err)
	}
	defer f.Close()
	h, rec, err := Read(f)
	if err != nil {
		return h, rec, fmt.Errorf("read journal %s: %w", path, err)
	}
	return h, rec, nil
}

// OpenHeader reads only the header of the journal at path. Of a signed one it says whose key it names and nothing
// more: what is to be believed needs Open.
func OpenHeader(path string) (Header, error) {
	f, err := disk.Open(path)
	if err != nil {
		return Header{}, fmt.Errorf("open journal: %w", err)
	}
	defer f.Close()
	in := bufio.NewReaderSize(f, maxBlock)
	v, err := readVersion(in)
	if err != nil {
		return Header{}, err
	}
	b := &blockReader{r: in}
	var key ed25519.PublicKey
	if v == versionTwo {
		kind, payload, err := b.next()
		if err != nil || kind != blockKey || len(payload) != ed25519.PublicKeySize {
			return Header{}, fmt.Errorf("%w: it names no key", ErrHeader)
		}
		key = bytes.Clone(payload)
	}
	h, err := readHeader(b)
	h.Key = key
	return h, err
}

// Read reads a journal as far as it is intact: up to the first block that is cut short, fails its
// checksum or holds an impossible record. Header.Tail says how many bytes follow from there and why.
// Of a signed journal nothing is taken that no good signature of its own key covers; whose key that is
// (Header.Key) is for the caller to judge. A run without an end reads as samples.Interrupted. Only a header that cannot be read, or r failing, is
// an error (ErrHeader). Memory use is bounded by a small multiple of the length of r.
//
// Readings that are not valid are counted in Recording.Invalid and are not samples. Start and End are the
// earliest and the latest recorded time, unless the run has a recorded end.
func Read(r io.Reader) (Header, *samples.Recording, error) {
	in := bufio.NewReaderSize(r, maxBlock)
	v, err := readVersion(in)
	if err != nil {
		return Header{}, nil, err
	}
	if v == versionTwo {
		return readSigned(in)
	}
	return readBlocks(&blockReader{r: in})
}

// readBlocks reads the header's blocks and the records.
func readBlocks(b *blockReader) (Header, *samples.Recording, error) {
	h, err := readHeader(b)
	if err != nil {
		return Header{}, nil, err
	}
	build := newBuilder()
	for h.Tail.Why == "" {
		kind, payload, err := b.next()
		if err == io.EOF {
			break
		}
		if err == nil && kind != blockRecords && !(b.signed && kind == blockSign) {
			err = fmt.Errorf("a block of unknown type %#02x", kind)
		}
		if err == nil && kind == blockRecords {
			err = build.block(payload)
		}
		if err != nil {
			h.Tail.Why = err.Error()
			h.Tail.Unreadable = int64(b.size)
		}
	}
	if h.Tail.Why != "" {
		rest, err := io.Copy(io.Discard, b.r)
		h.Tail.Unreadable += rest
		if err != nil {
			return h, nil, err
		}
	}
	return h, build.recording(), nil
}

// readVersion reads magic and version.
func readVersion(r io.Reader) (uint32, error) {
	var start [len(magic) + 4]byte
	if _, err := io.ReadFull(r, start[:]); err != nil {
		return 0, fmt.Errorf("%w: the file is shorter than the start of a journal", ErrHeader)
	}
	if string(start[:len(magic)]) != magic {
		return 0, fmt.Errorf("%w: this is not a journal", ErrHeader)
	}
	v := binary.LittleEndian.Uint32(start[len(magic):])
	if v != version && v != versionTwo {
		return 0, fmt.Errorf("%w: it has format version %d; this program reads %d and %d",
			ErrHeader, v, version, versionTwo)
	}
	return v, nil
}

// readHeader reads identity and texts.
func readHeader(b *blockReader) (Header, error) {
	kind, payload, err := b.next()
	if err != nil || kind != blockIdentity {
		return Header{}, fmt.Errorf("%w: no good identity block (%w)", ErrHeader, orMissing(err))
	}
	h, id, err := decodeIdentity(payload)
	if err != nil {
		return Header{}, err
	}
	for _, t := range []struct {
		kind byte
		n    int
		dst  *[]byte
	}{{blockScenario, id.ScenarioBytes, &h.ScenarioText}, {blockRig, id.RigBytes, &h.RigText},
		{blockDBC, id.DBCBytes, &h.DBC}} {
		if *t.dst, err = readText(b, t.kind, t.n); err != nil {
			return Header{}, err
		}
	}
	return h, nil
}

func orMissing(err error) error {
	if err == nil || err == io.EOF {
		return errors.New("it is missing")
	}
	return err
}

// readText reads n bytes of text from blocks of one kind. nil when n is 0.
func readText(b *blockReader, kind byte, n int) ([]byte, error) {
	var text []byte
	for len(text) < n {
		k, payload, err := b.next()
		if err != nil || k != kind || len(payload) == 0 || len(text)+len(payload) > n {
			return nil, fmt.Errorf("%w: text block %q (%w)", ErrHeader, kind, orMissing(err))
		}
		text = append(text, payload...)
	}
	return text, nil
}

// blockReader reads blocks and checks them.
type blockReader struct {
	r    *bufio.Reader
	head [blockHead]byte
	body [maxPayload]byte
	size int // bytes taken from r for the block last tried

	signed bool // signatures stand between the blocks
}

// next returns the next block. The payload is valid until the next call. io.EOF: no bytes are left.
func (b *blockReader) next() (kind byte, payload []byte, err error) {
	if b.size, err = io.ReadFull(b.r, b.head[:]); err != nil {
		if err == io.ErrUnexpectedEOF {
			err = errors.New("the last block is cut short in its head")
		}
		return 0, nil, err
	}
	n := binary.LittleEndian.Uint32(b.head[:])
	if n == 0 || n > maxPayload || b.head[5]|b.head[6]|b.head[7] != 0 {
		return 0, nil, errors.New("a block's head is damaged")
	}
	got, err := io.ReadFull(b.r, b.body[:n])
	b.size += got
	if err == io.EOF || err == io.ErrUnexpectedEOF {
		return 0, nil, errors.New("the last block is cut short")
	}
	if err != nil {
		return 0, nil, err
	}
	payload = b.body[:n]
	if blockSum(b.head[:8], payload) != binary.LittleEndian.Uint32(b.head[8:]) {
		return 0, nil, errors.New("a block fails its checksum")
	}
	return b.head[4], payload, nil
}
