package record

import (
	"bytes"
	"crypto/ed25519"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"strconv"

	"holdfast/bench/seal"
)

// A line of the book is
//
//	{"n":NUMBER,"prev":"HASH","book":"ID","key":"FINGERPRINT","note":...,"sig":"SIGNATURE"}
//
// where prev is the SHA-256 of the whole line before (of nothing, for the first), book names the book by
// the beginning of the first line's key and time, and the signature (Ed25519, base64) is over the line's
// bytes up to ,"sig". No other object in a line has "n" as its first key, so that the beginning of a line is found
// even when the end of the one before it is damaged.
const (
	lineStart = `{"n":`
	sigStart  = `,"sig":"`
	linePrev  = `,"prev":"`
	lineBook  = `","book":"`
	lineKey   = `","key":"`
)

// Line is one entry as it lies in the book.
type Line struct {
	At     int64 // first byte, in the book
	Number int64
	Prev   string // hash of the line before
	Book   string
	Print  string // fingerprint of the key that signed it
	Hash   string // of this line
	text   []byte
}

// Size returns the line's length in bytes, without its end.
func (l *Line) Size() int64 { return int64(len(l.text)) }

// parseLine reads the front of a line. What is not one of a signed book is refused.
func parseLine(text []byte, at int64) (l Line, ok bool) {
	l = Line{At: at, text: text}
	rest, ok := bytes.CutPrefix(text, []byte(lineStart))
	if !ok {
		return l, false
	}
	var number []byte
	if number, rest, ok = bytes.Cut(rest, []byte(linePrev)); !ok || len(number) > 18 {
		return l, false
	}
	var err error
	if l.Number, err = strconv.ParseInt(string(number), 10, 64); err != nil || l.Number < 1 {
		return l, false
	}
	for _, f := range []struct {
		dst *string
		end string
	}{{&l.Prev, lineBook}, {&l.Book, lineKey}, {&l.Print, `",`}} {
		var word []byte
		if word, rest, ok = bytes.Cut(rest, []byte(f.end)); !ok || len(word) > 64 {
			return l, false
		}
		*f.dst = string(word)
	}
	l.Hash = seal.Hash(text)
	return l, true
}

// signedBy verifies the line's signature.
func (l *Line) signedBy(key ed25519.PublicKey) bool {
	at := bytes.LastIndex(l.text, []byte(sigStart))
	if at < 0 || len(key) != ed25519.PublicKeySize {
		return false
	}
	sig, ok := bytes.CutSuffix(l.text[at+len(sigStart):], []byte(`"}`))
	if !ok {
		return false
	}
	b, err := base64.StdEncoding.DecodeString(string(sig))
	return err == nil && len(b) == ed25519.SignatureSize && ed25519.Verify(key, l.text[:at], b)
}

// Note reads what the line says.
func (l *Line) Note() (n Note, err error) { return n, json.Unmarshal(l.text, &n) }

// has says whether the line's text holds a word, as a cheap look before it is read.
func (l *Line) has(word string) bool { return bytes.Contains(l.text, []byte(word)) }

// word returns the first text of that key, when it can be read without reading the whole line.
func (l *Line) word(key string) (text string, sure bool) {
	_, rest, found := bytes.Cut(l.text, []byte(`"`+key+`":"`))
	if !found {
		return "", true
	}
	end := bytes.IndexByte(rest, '"')
	if end < 0 || bytes.IndexByte(rest[:end], '\\') >= 0 {
		return "", false
	}
	return string(rest[:end]), true
}

// newLine makes the line of a note.
func newLine(number int64, prev, book string, n *Note, key seal.Key) (Line, error) {
	said, err := json.Marshal(n)
	if err != nil {
		return Line{}, err
	}
	text := fmt.Appendf(nil, `%s%d%s%s%s%s%s%s",`, lineStart, number, linePrev, prev, lineBook, book, lineKey,
		seal.Fingerprint(key.Public()))
	text = append(text, said[1:len(said)-1]...)
	text = fmt.Appendf(text, `%s%s"}`, sigStart, base64.StdEncoding.EncodeToString(key.Sign(text)))
	if len(text) > maxNote {
		return Line{}, fmt.Errorf("the note takes %d bytes; at most %d would do", len(text), maxNote)
	}
	l, ok := parseLine(text, 0)
	if !ok {
		return l, fmt.Errorf("the note cannot be written as a line of the book")
	}
	return l, nil
}

// piece is a stretch of the book between two ends of lines.
type piece struct {
	at   int64
	next int64 // where the next one begins
	text []byte
	cut  bool // no end of a line follows: it was cut short
}

// pieces cuts the book into what should be its lines. A line that begins in the middle of another piece (the
// end of the one before was damaged) is a piece of its own.
func pieces(text []byte, from int64) (all []piece) {
	for at := 0; at < len(text); {
		end, next := bytes.IndexByte(text[at:], '\n'), 0
		p := piece{at: from + int64(at)}
		if end < 0 {
			p.text, p.cut, next = text[at:], true, len(text)
		} else {
			p.text, next = text[at:at+end], at+end+1
		}
		if inner := bytes.Index(p.text[min(1, len(p.text)):], []byte(lineStart)); inner >= 0 {
			next = at + 1 + inner
			p.text, p.cut = text[at:next], false
		}
		p.next = from + int64(next)
		switch {
		case len(p.text) > 0:
			all = append(all, p)
		case len(all) > 0:
			all[len(all)-1].next = p.next
		}
		at = next
	}
	return all
}
