package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"holdfast/bench/yamltext"
)

// MaxSerial bounds a serial, in bytes: no plate has more.
const MaxSerial = 100

// ErrSerial says that a text cannot be the number on a unit's plate.
var ErrSerial = errors.New("type the number on the unit's plate")

// Serial is the one rule for serials: it returns what a person typed as it is kept, trimmed and composed (NFC,
// Unicode Standard Annex 15). Control, invisible and direction characters are refused, and so are letters of
// one script that look like those of another among them.
func Serial(typed string) (string, error) {
	if len(typed) > 10*MaxSerial {
		return "", fmt.Errorf("the serial is %d bytes long, at most %d would do: %w", len(typed), MaxSerial, ErrSerial)
	}
	if !utf8.ValidString(typed) {
		return "", fmt.Errorf("the serial is not valid UTF-8: %w", ErrSerial)
	}
	s := norm.NFC.String(strings.TrimSpace(typed))
	switch {
	case s == "":
		return "", fmt.Errorf("the serial is empty: %w", ErrSerial)
	case len(s) > MaxSerial:
		return "", fmt.Errorf("the serial is %d bytes long, at most %d would do: %w", len(s), MaxSerial, ErrSerial)
	}
	scripts := map[string]bool{}
	for _, r := range s {
		if !unicode.IsPrint(r) || unicode.Is(unicode.Cf, r) || unicode.Is(unicode.Mn, r) || blank[r] {
			return "", fmt.Errorf("the serial holds %q, which cannot be seen on a plate: %w", r, ErrSerial)
		}
		if unicode.IsLetter(r) {
			scripts[scriptOf(r)] = true
		}
	}
	if len(scripts) > 1 {
		return "", fmt.Errorf("the serial mixes letters of several scripts, which may look alike: %w", ErrSerial)
	}
	return s, nil
}

// blank are letters and symbols that print as nothing.
var blank = map[rune]bool{'\u115F': true, '\u1160': true, '\u3164': true, '\uFFA0': true, '\u2800': true}

// scriptOf names the script of a letter. Full-width Latin letters are another one than Latin: they look alike.
func scriptOf(r rune) string {
	if r >= 0xFF00 && r <= 0xFFEF {
		return "wide"
	}
	for _, name := range []string{"Latin", "Greek", "Cyrillic"} {
		if unicode.Is(unicode.Scripts[name], r) {
			return name
		}
	}
	return "other"
}

// SameSerial says whether two serials are of one unit: capitals do not count.
func SameSerial(a, b string) bool { return serialKey(a) == serialKey(b) }

// serialKey is a serial as it is looked up.
func serialKey(s string) string {
	return strings.ToUpper(strings.ToLower(norm.NFC.String(strings.TrimSpace(s))))
}

// Spelling returns a serial as it is kept: by the rule of Serial, and written as the unit's first entry wrote it where
// only the capitals differ. known is false for a unit that is not on record.
func (s *Store) Spelling(ctx context.Context, typed string) (serial string, known bool, err error) {
	if serial, err = spelling(ctx, s.db, typed); err != nil {
		return "", false, err
	}
	err = s.db.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM units WHERE serial = ?)`, serial).Scan(&known)
	return serial, known, err
}

func spelling(ctx context.Context, db queries, typed string) (serial string, err error) {
	if serial, err = Serial(typed); err != nil {
		return "", err
	}
	var kept string
	err = db.QueryRowContext(ctx, `SELECT serial FROM units WHERE serial = ?1 COLLATE NOCASE
		ORDER BY serial <> ?1 LIMIT 1`, serial).Scan(&kept)
	if errors.Is(err, sql.ErrNoRows) {
		return serial, nil
	}
	return kept, err
}

// Near returns the serial on record that looks most like one that is not; "" when none does.
func (s *Store) Near(ctx context.Context, serial string) (string, error) {
	const most = 20_000 // serials to look through
	all, err := list(ctx, s.db, `SELECT serial FROM units LIMIT ?`, func(rows *sql.Rows) (text string, err error) {
		return text, rows.Scan(&text)
	}, most)
	if err != nil {
		return "", err
	}
	return yamltext.Near(serial, all), nil
}
