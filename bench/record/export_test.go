package record

import (
	"context"
	"crypto/ed25519"
	"database/sql"

	"holdfast/bench/judge"
)

// AddMany puts runs in with one transaction each thousand, for tests that need a large index.
func (s *Store) AddMany(ctx context.Context, n int, make func(i int) *judge.Result) error {
	const each = 1000
	for from := 0; from < n; from += each {
		err := s.tx(ctx, func(tx *sql.Tx) error {
			for i := from; i < min(n, from+each); i++ {
				if err := s.insert(ctx, tx, entryOf(make(i), "")); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// LetGo closes the open visit of n.Serial on n.Run and asks nothing, for tests of what follows.
func (s *Store) LetGo(ctx context.Context, n Note, number func(before int) string) (Note, error) {
	n.Kind, n.Certificate = NoteRelease, number(0)
	_, err := s.toOpenVisit(ctx, &n)
	return n, err
}

// OpenReadOnly opens an index where nothing can be written.
var OpenReadOnly = openReadOnly

// ProveBook proves a book's text.
func ProveBook(text []byte, known ...ed25519.PublicKey) *Book { return proveBook(text, known) }

// ClockSaid says what the person hears of a clock that went back.
func ClockSaid(out, serial string) string {
	b, err := ReadBook(out)
	if err != nil {
		return err.Error()
	}
	st, _ := b.stay(serial)
	return st.late
}
