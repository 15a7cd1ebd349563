package record

import (
	"context"
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
