package report

import (
	"fmt"
	"strings"
	"sync"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"golang.org/x/image/font/sfnt"
)

// faces are the fonts of the pages, to ask which characters they have.
var faces = sync.OnceValue(func() (all []*sfnt.Font) {
	for _, text := range [][]byte{liberationsansregular.TTF, liberationsansbold.TTF} {
		if f, err := sfnt.Parse(text); err == nil { // both are embedded and parse
			all = append(all, f)
		}
	}
	return all
})

// has says whether every face of the pages has a character.
func has(r rune) bool {
	if r < 0x7F {
		return true
	}
	if r > 0xFFFF { // the PDF writer knows no more
		return false
	}
	for _, f := range faces() {
		if i, err := f.GlyphIndex(nil, r); err != nil || i == 0 {
			return false
		}
	}
	return true
}

// printable is a text as the fonts can show it: a character that they lack stands there by its number, so that the
// reader sees that something was there and what.
func printable(s string) string {
	s = Plain(s)
	if strings.IndexFunc(s, func(r rune) bool { return !has(r) }) < 0 {
		return s
	}
	var b strings.Builder
	for _, r := range s {
		if has(r) {
			b.WriteRune(r)
		} else {
			fmt.Fprintf(&b, "[U+%04X]", r)
		}
	}
	return b.String()
}
