package record

import (
	"bytes"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"

	"holdfast/bench/disk"
	"holdfast/bench/seal"
)

// maxBook bounds the book, in bytes: some two million entries.
const maxBook = 1 << 30

// Book is the whole book, read and held against itself.
type Book struct {
	ID     string
	Root   ed25519.PublicKey // that it began with
	Lines  []Line            // that are proven, by number
	Faults []Fault           // everything that does not fit, in the order of the book
	Legacy []Note            // what stood in it before it was signed
	keys   map[string]admitted
}

// Fault is something about the book that does not fit.
type Fault struct {
	From, To int64 // bytes of the book
	Number   int64 // of the entry; 0: not known, or none
	What     string
	Harmless bool // nothing of the book is missing by it
	whole    bool // it is about a line that had its end
	unproven bool // about a line that is not believed
}

func (f Fault) String() string {
	where := fmt.Sprintf("%s, bytes %d to %d", BookFile, f.From, f.To)
	if f.Number > 0 {
		where = fmt.Sprintf("entry %d (%s)", f.Number, where)
	}
	return where + ": " + f.What
}

// admitted is a key that may write in the book.
type admitted struct {
	key         ed25519.PublicKey
	after, last int64 // it may sign entries after and up to these
	holder      string
}

const noEnd = 1 << 62

// ReadBook reads the book of an out folder and proves it: the signature of the last line of an unbroken chain
// stands for all before it, and where the chain is broken each line stands by its own. err says that it
// could not be read at all; no book is an empty one.
//
// A key is believed that the book's first entry names, or that a believed one let in. Whether the first is to
// be trusted is another question (Trusted). known are keys that are trusted anyway: they help where the
// first entry is damaged.
func ReadBook(out string, known ...ed25519.PublicKey) (*Book, error) {
	text, err := disk.ReadFile(filepath.Join(out, BookFile), maxBook)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("read the book: %w", err)
	}
	return proveBook(text, known), nil
}

func proveBook(text []byte, known []ed25519.PublicKey) *Book {
	b := &Book{keys: map[string]admitted{}}
	var lines []Line
	first := true
	for _, p := range pieces(text, 0) {
		l, ok := parseLine(p.text, p.at)
		switch {
		case ok && !p.cut:
			first = false
			lines = append(lines, l)
		case first && !p.cut:
			b.legacy(p)
		case p.cut:
			b.fault(p, 0, "a line that was cut short and never counted")
		default:
			b.fault(p, 0, "it is no entry of this book")
		}
	}
	b.admit(lines, text)
	if b.Root == nil && b.borrow(lines, known) {
		b.admit(lines, text)
	}
	b.order(b.prove(lines))
	b.weigh()
	slices.SortStableFunc(b.Faults, func(x, y Fault) int { return int(x.From - y.From) })
	return b
}

func (b *Book) fault(p piece, number int64, what string, args ...any) {
	b.Faults = append(b.Faults, Fault{From: p.at, To: p.at + int64(len(p.text)), Number: number,
		What: fmt.Sprintf(what, args...), whole: !p.cut})
}

// borrow takes keys that are trusted anyway where the book's first entry does not say who may write.
func (b *Book) borrow(lines []Line, known []ed25519.PublicKey) (found bool) {
	for i := range lines {
		for _, key := range known {
			if l := &lines[i]; l.Print == seal.Fingerprint(key) && l.signedBy(key) {
				b.ID, b.keys[l.Print], found = l.Book, admitted{key, 0, noEnd, ""}, true
			}
		}
		if found {
			break
		}
	}
	return found
}

// Trusted says whether the key that the book began with is one of those.
func (b *Book) Trusted(known []ed25519.PublicKey) bool {
	return b.Root == nil || slices.ContainsFunc(known, func(k ed25519.PublicKey) bool { return b.Root.Equal(k) })
}

// weigh says of each fault whether anything is missing by it.
func (b *Book) weigh() {
	last := b.Last()
	for i := range b.Faults {
		f := &b.Faults[i]
		switch {
		case f.Harmless:
		case last == nil:
			f.Harmless = !f.whole
		case f.From > last.At:
			f.Harmless = !f.whole
		case f.Number == 0:
			f.Harmless = f.whole
		case f.unproven: // another line of that number is believed: it was cut short and written again, or put there
			f.Harmless = slices.ContainsFunc(b.Lines, func(l Line) bool { return l.Number == f.Number })
		}
	}
}

// doubt names a line that is not believed.
func (b *Book) doubt(l *Line, what string, args ...any) {
	b.faultAt(l, what, args...)
	b.Faults[len(b.Faults)-1].unproven = true
}

func (b *Book) faultAt(l *Line, what string, args ...any) {
	b.fault(piece{at: l.At, text: l.text}, l.Number, what, args...)
}

// admit finds the keys that may write in the book: the one that it began with, and those that a key let in
// before let in.
func (b *Book) admit(lines []Line, text []byte) {
	for i := range lines {
		l := &lines[i]
		if b.ID != "" && l.Book != b.ID || !l.has(`"note":"begin"`) && !l.has(`"note":"key"`) &&
			!l.has(`"note":"revoked"`) {
			continue
		}
		n, err := l.Note()
		if err != nil {
			continue
		}
		switch {
		case b.Root == nil && n.Kind == NoteBegin && n.Begin != nil:
			if key := seal.FromText(n.Begin.Public); key != nil && l.signedBy(key) {
				b.ID, b.Root = l.Book, key
				b.keys[seal.Fingerprint(key)] = admitted{key, 0, noEnd, n.By}
				b.checkLegacy(l, n.Begin, text)
			}
		case n.Key == nil || !b.good(l):
		case n.Kind == NoteKey:
			if key := seal.FromText(n.Key.Public); key != nil {
				b.keys[seal.Fingerprint(key)] = admitted{key, l.Number, noEnd, n.Key.Holder}
			}
		case n.Kind == NoteRevoked:
			if k, ok := b.keys[n.Key.Print]; ok {
				k.last = min(k.last, n.Key.After)
				b.keys[n.Key.Print] = k
			}
		}
	}
}

// checkLegacy holds what stood in the book before it was signed against what its first entry says of that.
func (b *Book) checkLegacy(l *Line, n *Begin, text []byte) {
	if text == nil {
		return
	}
	before := bytes.TrimRight(text[:l.At], "\n")
	if int64(len(before)) != n.Bytes || n.Bytes > 0 && seal.Hash(before) != n.SHA256 {
		b.Faults = append(b.Faults, Fault{To: l.At,
			What: "the lines from before the book was signed were changed since"})
	}
}

// may says whether the line's key may have signed it.
func (b *Book) may(l *Line) bool {
	k, ok := b.keys[l.Print]
	return ok && l.Book == b.ID && (l.Number > k.after || k.after == 0) && l.Number <= k.last
}

// good verifies a line by itself.
func (b *Book) good(l *Line) bool { return b.may(l) && l.signedBy(b.keys[l.Print].key) }

// prove returns the lines that are proven, in the order in which they lie in the book, and names the others.
func (b *Book) prove(lines []Line) (proven []*Line) {
	var next *Line
	for i := len(lines) - 1; i >= 0; i-- {
		l := &lines[i]
		covered := next != nil && next.Number == l.Number+1 && next.Prev == l.Hash && b.may(l)
		switch {
		case covered || b.good(l):
			proven = append(proven, l)
			next = l
		case len(b.keys) == 0:
			b.doubt(l, "the book's first entry is missing or changed: nobody's signature can be held against it")
		case l.Book != b.ID:
			b.doubt(l, "it belongs to another book")
		case !b.may(l):
			b.doubt(l, "the key %s may not write here, or no longer might", l.Print)
		default:
			b.doubt(l, "it was changed, or cut short: its signature does not fit")
		}
	}
	slices.Reverse(proven)
	return proven
}

// order puts the proven lines in order and names what is missing, doubled or out of place.
func (b *Book) order(proven []*Line) {
	for i, l := range proven {
		if i > 0 && l.Number < proven[i-1].Number {
			b.faultAt(l, "it stands out of place")
			b.Faults[len(b.Faults)-1].Harmless = true
		}
	}
	slices.SortStableFunc(proven, func(x, y *Line) int { return int(x.Number - y.Number) })
	var last *Line
	for _, l := range proven {
		switch {
		case last != nil && l.Number == last.Number && l.Hash == last.Hash:
			b.faultAt(l, "it stands there twice")
			b.Faults[len(b.Faults)-1].Harmless = true
			continue
		case last != nil && l.Number == last.Number:
			b.faultAt(l, "there are two entries of that number, both signed: the book went on from an old copy")
			continue
		}
		b.gap(last, l)
		b.Lines = append(b.Lines, *l)
		last = l
	}
}

// gap names what is missing between two proven lines that follow each other.
func (b *Book) gap(last, l *Line) {
	before := int64(0)
	at := int64(0)
	if last != nil {
		before, at = last.Number, last.At+last.Size()
	}
	for n := before + 1; n < l.Number; n++ {
		const most = 1000 // to be named one by one
		if n-before > most {
			b.Faults = append(b.Faults, Fault{From: at, To: l.At, Number: n,
				What: fmt.Sprintf("entries %d to %d are missing", n, l.Number-1)})
			return
		}
		if !b.named(n) {
			b.Faults = append(b.Faults, Fault{From: at, To: l.At, Number: n,
				What: "it is missing: it was removed, or changed beyond reading"})
		}
	}
	if last != nil && l.Number == last.Number+1 && l.Prev != last.Hash {
		b.faultAt(last, "it is signed, but not the one that entry %d follows", l.Number)
	}
}

// named says whether a fault of that entry is named already.
func (b *Book) named(number int64) bool {
	return slices.ContainsFunc(b.Faults, func(f Fault) bool { return f.Number == number })
}

// Last returns the last proven line; nil when there is none.
func (b *Book) Last() *Line {
	if len(b.Lines) == 0 {
		return nil
	}
	return &b.Lines[len(b.Lines)-1]
}

// Notes returns the believed notes of a kind, oldest first, those from before the book was signed included.
func (b *Book) Notes(kind string) (all []Note) {
	for _, n := range b.Legacy {
		if n.Kind == kind {
			all = append(all, n)
		}
	}
	word := `"note":"` + kind + `"`
	for i := range b.Lines {
		if !b.Lines[i].has(word) {
			continue
		}
		if n, err := b.Lines[i].Note(); err == nil && n.Kind == kind {
			all = append(all, n)
		}
	}
	return all
}
