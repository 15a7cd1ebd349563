package report

import (
	"fmt"
	"html/template"
	"strings"

	"github.com/boombuler/barcode/qr"
)

// code is a QR code (ISO/IEC 18004) as a grid of dark and light modules.
type code struct {
	text string
	size int // modules a side
	dark []bool
}

// quiet is the free margin that a reader needs about the code, in modules (ISO/IEC 18004, 6.3.8, from
// memory).
const quiet = 4

// codeOf makes the code of a text; nil when the text is too long for one. Level M corrects about 15 % of
// the code.
func codeOf(text string) *code {
	made, err := qr.Encode(text, qr.M, qr.Unicode)
	if err != nil {
		return nil
	}
	c := &code{text: text, size: made.Bounds().Dx()}
	for y := range c.size {
		for x := range c.size {
			r, _, _, _ := made.At(x, y).RGBA()
			c.dark = append(c.dark, r == 0)
		}
	}
	return c
}

// at says whether a module is dark.
func (c *code) at(x, y int) bool { return c.dark[y*c.size+x] }

// rows calls f for each stretch of dark modules in a row, so that no hairline shows between them.
func (c *code) rows(f func(x, y, length int)) {
	for y := range c.size {
		for x := 0; x < c.size; x++ {
			from := x
			for x < c.size && c.at(x, y) {
				x++
			}
			if x > from {
				f(from, y, x-from)
			}
		}
	}
}

// SVG draws the code for an HTML page.
func (c *code) SVG() template.HTML {
	side := c.size + 2*quiet
	var path strings.Builder
	c.rows(func(x, y, length int) {
		fmt.Fprintf(&path, "M%d %dh%dv1h-%dz", x+quiet, y+quiet, length,
			length)
	})
	return template.HTML(fmt.Sprintf(`<svg class="code" viewBox="0 0 %d %d" role="img" aria-label="QR code of the record's hash">`+
		`<path d="%s"/></svg>`, side, side, path.String()))
}
