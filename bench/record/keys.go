package record

import (
	"context"
	"crypto/ed25519"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"holdfast/bench/seal"
)

// Admit lets another's key write in the book. Somebody whose key may write there already does that.
func (s *Store) Admit(ctx context.Context, key ed25519.PublicKey, holder, by string, now time.Time) error {
	n := Note{Kind: NoteKey, Time: now, By: by, Key: &KeyNote{Public: seal.Text(key), Print: seal.Fingerprint(key),
		Holder: holder}}
	return s.write(ctx, &n, always)
}

// Revoke says that nothing of a key is believed after an entry of the book: it was lost, or stolen. after is the last
// entry that is believed; below 0, the last there is.
func (s *Store) Revoke(ctx context.Context, print string, after int64, by string, now time.Time) error {
	n := Note{Kind: NoteRevoked, Time: now, By: by, Key: &KeyNote{Print: print, After: after}}
	return s.write(ctx, &n, func(tx *sql.Tx) error {
		var known bool
		err := tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM book_keys WHERE print = ?)`, print).Scan(&known)
		if err == nil && !known {
			err = fmt.Errorf("no key with the fingerprint %q may write in this book", print)
		}
		if at, failed := readPlace(ctx, tx); err == nil && failed == nil && after < 0 {
			n.Key.After = at.number
		}
		return err
	})
}

// Writer is a key that may write in the book, or might once.
type Writer struct {
	Print  string `json:"fingerprint"`
	Holder string `json:"holder,omitempty"`
	After  int64  `json:"after"`          // it may sign the entries after this one
	Last   int64  `json:"last,omitempty"` // and up to this one; 0: any
}

// Writers returns the keys of the book.
func (s *Store) Writers(ctx context.Context) ([]Writer, error) {
	return list(ctx, s.db, `SELECT print, holder, after, last FROM book_keys ORDER BY after, print`,
		func(rows *sql.Rows) (w Writer, err error) {
			err = rows.Scan(&w.Print, &w.Holder, &w.After, &w.Last)
			if w.Last == noEnd {
				w.Last = 0
			}
			return w, err
		})
}

// SetPolicy states which scenarios release a unit, in place of what was stated before.
func (s *Store) SetPolicy(ctx context.Context, p []Policy, by string, now time.Time) error {
	n := Note{Kind: NotePolicy, Time: now, By: by, Policy: p}
	return s.write(ctx, &n, always)
}

// Policy returns the shop's own policy from the book; nil: it has none.
func (s *Store) Policy() ([]Policy, error) {
	t, err := NewTrust(s.out)
	if err != nil {
		return nil, err
	}
	notes := t.Book.Notes(NotePolicy)
	if len(notes) == 0 {
		return nil, nil
	}
	return notes[len(notes)-1].Policy, nil
}

// AnswerDamage enters into the book that a person has looked at the damage to it, and returns the entries that are
// answered for. Units may be released again after it; what was lost stays named.
func (s *Store) AnswerDamage(ctx context.Context, by string, now time.Time) (lost []int64, err error) {
	t, err := NewTrust(s.out)
	if err != nil {
		return nil, err
	}
	for _, f := range t.Book.Unanswered() {
		lost = append(lost, f.Number) // 0: where no number can be read
	}
	n := Note{Kind: NoteDamage, Time: now, By: by}
	if n.Remark, err = s.acceptShorter(t.Book, &lost); err != nil || len(lost) == 0 {
		return nil, err
	}
	n.Lost = lost
	return lost, s.write(ctx, &n, always)
}

// acceptShorter takes a book that ends before what was seen of it for the true one: a backup that was brought back.
func (s *Store) acceptShorter(b *Book, lost *[]int64) (remark string, err error) {
	last := b.Last()
	here, seen, err := s.ring.Heads(s.out, b.ID)
	if err != nil {
		return "", err
	}
	if last == nil { // the whole book was taken away: what follows is a new one, which says so
		if here == nil {
			return "", nil
		}
		*lost = append(*lost, 0)
		return fmt.Sprintf("a book of %d entries stood here and is gone", here.Number), s.ring.ForgetHeads(here.Book)
	}
	if remark = shorter(here, seen, place{number: last.Number, hash: last.Hash, book: b.ID}); remark == "" {
		return "", nil
	}
	to := last.Number + 1
	if seen != nil {
		to = max(to, seen.Number)
	}
	for n := last.Number + 1; n <= to; n++ {
		*lost = append(*lost, n)
	}
	err = s.ring.ForgetHeads(b.ID)
	return remark, errors.Join(err, s.ring.KeepHead(seal.Head{Book: b.ID, Path: s.out, Number: last.Number, Hash: last.Hash}))
}
