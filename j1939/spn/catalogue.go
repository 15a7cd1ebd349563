package spn

import (
	"slices"
	"strings"
	"sync"
)

// tables is the whole catalogue. It is read once, when it is first asked for.
type tables struct {
	messages map[uint32]*Message
	byPGN    []*Message // in PGN order
	numbers  map[uint32][]*Parameter
	all      []*Parameter // in SPN order
	readings map[uint32][]Reading
}

var catalogue = sync.OnceValue(load)

// PGN returns the parameter group of that number; nil when the catalogue has none.
// The Proprietary B groups 65280..65535 share one entry.
func PGN(pgn uint32) *Message {
	if pgn > proprietaryB && pgn <= proprietaryBEnd {
		pgn = proprietaryB
	}
	return catalogue().messages[pgn]
}

const (
	proprietaryB    = 65280
	proprietaryBEnd = 65535
)

// Messages returns all parameter groups in PGN order. The slice is shared: do not change it.
func Messages() []*Message { return catalogue().byPGN }

// Parameters returns all parameters in SPN order. The slice is shared: do not change it.
func Parameters() []*Parameter { return catalogue().all }

// Find returns the parameters of that number: one for each group it stands in, or one of kind
// Number when it stands in trouble codes only. nil when the catalogue has none.
func Find(number uint32) []*Parameter { return catalogue().numbers[number] }

// Name returns the name of an SPN; "" when the catalogue has none.
func Name(number uint32) string {
	if found := Find(number); len(found) > 0 {
		return found[0].Name
	}
	return ""
}

// Search returns the parameters whose name, older name or group acronym holds every word of text,
// whatever its case, in SPN order.
func Search(text string) []*Parameter {
	words := strings.Fields(strings.ToLower(text))
	if len(words) == 0 {
		return nil
	}
	var found []*Parameter
	for _, p := range catalogue().all {
		if p.matches(words) {
			found = append(found, p)
		}
	}
	return found
}

func (t *tables) finish() {
	for _, m := range t.messages {
		t.byPGN = append(t.byPGN, m)
		slices.SortStableFunc(m.Parameters, func(a, b *Parameter) int { return a.order() - b.order() })
	}
	slices.SortFunc(t.byPGN, func(a, b *Message) int { return int(a.PGN) - int(b.PGN) })
	for _, found := range t.numbers {
		t.all = append(t.all, found...)
	}
	slices.SortFunc(t.all, func(a, b *Parameter) int {
		if a.SPN != b.SPN {
			return int(a.SPN) - int(b.SPN)
		}
		return int(a.PGN) - int(b.PGN)
	})
}

// order is the place of p in its group: bit position, or order in the text.
func (p *Parameter) order() int { return (int(p.Byte)*8+int(p.Bit))*32 + int(p.Field) }
