package yamltext

// Kind is what a node is.
type Kind uint8

const (
	Empty Kind = iota // nothing stands after the key
	Text
	Map
	List
)

// words names a kind for a person.
func (k Kind) words() string {
	return [...]string{"nothing", "text", "a map of keys", "a list"}[k]
}

// Node is one value of the file with its place.
type Node struct {
	Kind         Kind
	Line, Column int
	Text         string // of a Text node, as written
	Entries      []Entry
	Items        []*Node
}

// Entry is one key of a map with its value.
type Entry struct {
	Key          string
	Line, Column int
	Value        *Node
}

// Entry returns the entry of a key; nil when the map has none.
func (n *Node) Entry(key string) *Entry {
	for i := range n.Entries {
		if n.Entries[i].Key == key {
			return &n.Entries[i]
		}
	}
	return nil
}
