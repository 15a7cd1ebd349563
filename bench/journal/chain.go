package journal

import (
	"bufio"
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"hash"
	"io"
	"sort"

	"holdfast/bench/samples"
)

// Signer signs a journal as it grows: a seal.Key.
type Signer interface {
	Public() ed25519.PublicKey
	Sign(text []byte) (signature []byte)
}

// signing stands before what is signed, so that no signature of a journal is one of anything else.
const signing = "holdfast-journal-2\n"

// signBlock is the size of a block with a signature.
const signBlock = blockHead + ed25519.SignatureSize

// chain is the hash over all blocks so far: each link hashes the one before and the next block.
type chain struct {
	key  Signer
	sum  hash.Hash
	head [sha256.Size]byte
	open bool // blocks were linked that no signature covers
}

// start begins the chain with the file's first bytes and the key.
func (w *Writer) start(key Signer) {
	if key == nil {
		w.write(binary.LittleEndian.AppendUint32([]byte(magic), version))
		return
	}
	w.room = maxBlock - signBlock
	w.chain = newChain()
	w.chain.key = key
	w.write(firstBytes())
	w.block(blockKey, key.Public())
}

func firstBytes() []byte { return binary.LittleEndian.AppendUint32([]byte(magic), versionTwo) }

func newChain() chain { return chain{sum: sha256.New(), head: sha256.Sum256(firstBytes())} }

// add links a whole block.
func (c *chain) add(block []byte) {
	c.sum.Reset()
	c.sum.Write(c.head[:])
	c.sum.Write(block)
	c.sum.Sum(c.head[:0])
	c.open = true
}

// link adds a block to the chain of a signed journal.
func (w *Writer) link(block []byte) {
	if w.chain.key != nil {
		w.chain.add(block)
	}
}

// sign appends a block with the signature over the chain's head, if there is anything new to sign.
func (w *Writer) sign(out []byte) []byte {
	if w.chain.key == nil || !w.chain.open || w.err != nil {
		return out
	}
	at := len(out)
	out = append(out, make([]byte, blockHead)...)
	out = append(out, w.chain.key.Sign(signed(w.chain.head))...)
	sealBlock(out[at:], blockSign)
	w.chain.add(out[at:])
	w.chain.open = false
	return out
}

func signed(head [sha256.Size]byte) []byte { return append([]byte(signing), head[:]...) }

// mark is a signature in a journal: the chain's head that it is to cover, and where its block ends.
type mark struct {
	head      [sha256.Size]byte
	signature []byte
	end       int
}

// readSigned reads a journal of format version 2, behind its version.
func readSigned(r io.Reader) (Header, *samples.Recording, error) {
	data, err := io.ReadAll(r)
	if err != nil {
		return Header{}, nil, err
	}
	key, marks, why := walk(data)
	if key == nil {
		return Header{}, nil, fmt.Errorf("%w: it names no key", ErrHeader)
	}
	// A signature covers the ones before it: where one holds, all before it hold.
	n := sort.Search(len(marks), func(i int) bool { return !marks[i].good(key) })
	if len(marks) > 0 && marks[len(marks)-1].good(key) {
		n = len(marks)
	}
	if n == 0 {
		return Header{}, nil, fmt.Errorf("%w: it is not signed", ErrHeader)
	}
	end := marks[n-1].end
	keyEnd := blockHead + ed25519.PublicKeySize
	b := &blockReader{r: bufio.NewReader(bytes.NewReader(data[keyEnd:end])), signed: true}
	h, rec, err := readBlocks(b)
	h.Key = key
	if rest := int64(len(data) - end); err == nil && rest > 0 {
		h.Tail.Unreadable += rest
		switch {
		case h.Tail.Why != "":
		case n < len(marks):
			h.Tail.Why = "a signature does not fit: from there on nothing is believed"
		case why != "":
			h.Tail.Why = why
		default:
			h.Tail.Why = "no signature covers them"
		}
	}
	return h, rec, err
}

func (m *mark) good(key ed25519.PublicKey) bool {
	return ed25519.Verify(key, signed(m.head), m.signature)
}

// walk follows the chain as far as the blocks are whole, and says why it stopped before the end.
func walk(data []byte) (key ed25519.PublicKey, marks []mark, why string) {
	c := newChain()
	b := &blockReader{r: bufio.NewReaderSize(bytes.NewReader(data), maxBlock)}
	for at := 0; ; {
		kind, payload, err := b.next()
		if err == io.EOF {
			return key, marks, ""
		}
		if err != nil {
			return key, marks, err.Error()
		}
		switch {
		case at == 0 && kind == blockKey && len(payload) == ed25519.PublicKeySize:
			key = bytes.Clone(payload)
		case at == 0:
			return nil, nil, "it names no key"
		case kind == blockSign:
			marks = append(marks, mark{c.head, bytes.Clone(payload), at + b.size})
		}
		c.add(data[at : at+b.size])
		at += b.size
	}
}
