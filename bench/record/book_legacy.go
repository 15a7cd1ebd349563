package record

import "encoding/json"

// legacy takes in a line from before the book was signed. One that cannot be read was cut short by a crash
// and never acknowledged.
func (b *Book) legacy(p piece) {
	var n Note
	if json.Unmarshal(p.text, &n) == nil && n.Kind != "" {
		b.Legacy = append(b.Legacy, n)
	}
}
