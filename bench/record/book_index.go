package record

import (
	"context"
	"crypto/ed25519"
	"database/sql"
	"encoding/json"
	"fmt"
	"strings"

	"holdfast/bench/seal"
)

var globEscaper = strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`)

// place is how far the index has read the book: where, and the last entry up to there.
type place struct {
	read   int64 // bytes
	start  int64 // where the last entry begins
	number int64
	hash   string
	book   string
}

type queries interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

func readPlace(ctx context.Context, db queries) (p place, err error) {
	return p, db.QueryRowContext(ctx, `SELECT read, start, number, hash, book FROM shop`).Scan(&p.read, &p.start,
		&p.number, &p.hash, &p.book)
}

// fits says whether the place that the index has read to is still in the book, so that what it holds is a copy of
// what stands there.
func (s *Store) fits(p place) (bool, error) {
	size, err := fileSize(s.book())
	if err != nil || size < p.read {
		return false, err
	}
	if p.number == 0 {
		return true, nil
	}
	text, err := readFrom(s.book(), p.start)
	if err != nil {
		return false, err
	}
	all := pieces(text, p.start)
	return len(all) > 0 && all[0].next <= p.read && seal.Hash(all[0].text) == p.hash, nil
}

// catchUp takes the lines of the book that the index has not seen into the index. What is not proven is left out
// here and named by Check.
func (s *Store) catchUp(ctx context.Context, tx *sql.Tx) error {
	p, err := readPlace(ctx, tx)
	if err != nil {
		return err
	}
	text, err := readFrom(s.book(), p.read)
	if err != nil || len(text) == 0 {
		return err
	}
	var lines []Line
	from := p.read
	for _, piece := range pieces(text, from) {
		if piece.cut {
			break // it is being written, or was cut short
		}
		l, ok := parseLine(piece.text, piece.at)
		switch {
		case ok:
			lines = append(lines, l)
		case p.number == 0 && len(lines) == 0:
			var n Note
			if json.Unmarshal(piece.text, &n) == nil { // from before the book was signed
				if err := s.apply(ctx, tx, n, 0); err != nil {
					return fmt.Errorf("take in the book at byte %d: %w", piece.at, err)
				}
			}
		}
		p.read = piece.next
	}
	if err := s.takeLines(ctx, tx, &p, lines, text, from); err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `UPDATE shop SET read = ?, start = ?, number = ?, hash = ?, book = ?`, p.read, p.start,
		p.number, p.hash, p.book)
	return err
}

// takeLines takes those lines into the index that are proven and go on where it stands.
func (s *Store) takeLines(ctx context.Context, tx *sql.Tx, p *place, lines []Line, text []byte, from int64) error {
	if len(lines) == 0 {
		return nil
	}
	b := &Book{ID: p.book, keys: map[string]admitted{}}
	if err := loadKeys(ctx, tx, b); err != nil {
		return err
	}
	if from > 0 {
		text = nil // what stands before cannot be checked from here
	}
	b.admit(lines, text)
	if b.ID == "" {
		known, err := s.ring.Known()
		if err != nil {
			return err
		}
		if b.borrow(lines, known) {
			b.admit(lines, text)
		}
	}
	for _, l := range b.prove(lines) {
		if l.Number <= p.number {
			continue // doubled, or out of its place
		}
		n, err := l.Note()
		if err != nil {
			continue
		}
		if err := s.apply(ctx, tx, n, l.Number); err != nil {
			return fmt.Errorf("take in entry %d of the book: %w", l.Number, err)
		}
		p.start, p.number, p.hash, p.book = l.At, l.Number, l.Hash, l.Book
	}
	return saveKeys(ctx, tx, b)
}

func loadKeys(ctx context.Context, tx *sql.Tx, b *Book) error {
	rows, err := tx.QueryContext(ctx, `SELECT print, key, after, last, holder FROM book_keys`)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var print, key string
		var a admitted
		if err := rows.Scan(&print, &key, &a.after, &a.last, &a.holder); err != nil {
			return err
		}
		if a.key = seal.FromText(key); a.key != nil && seal.Fingerprint(a.key) == print {
			b.keys[print] = a
			b.Root = firstOf(b.Root, a)
		}
	}
	return rows.Err()
}

// firstOf keeps the key that began the book: the one that may sign from its start.
func firstOf(root ed25519.PublicKey, a admitted) ed25519.PublicKey {
	if a.after == 0 {
		return a.key
	}
	return root
}

func saveKeys(ctx context.Context, tx *sql.Tx, b *Book) error {
	for print, a := range b.keys {
		if _, err := tx.ExecContext(ctx, `INSERT INTO book_keys (print, key, after, last, holder)
			VALUES (?1, ?2, ?3, ?4, ?5) ON CONFLICT DO UPDATE SET after = ?3, last = ?4, holder = ?5`,
			print, seal.Text(a.key), a.after, a.last, a.holder); err != nil {
			return err
		}
	}
	return nil
}

// behind says whether the book holds lines that the index has not seen.
func (s *Store) behind(ctx context.Context) (bool, error) {
	size, err := fileSize(s.book())
	if err != nil {
		return false, err
	}
	p, err := readPlace(ctx, s.db)
	return size > p.read, err
}
