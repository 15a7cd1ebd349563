package spn

import (
	_ "embed"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
)

//go:embed data/pgns.tsv
var pgnsTable string

//go:embed data/pgns_more.tsv
var morePGNsTable string

//go:embed data/spns.tsv
var spnsTable string

//go:embed data/spns_more.tsv
var moreSPNsTable string

//go:embed data/fmi_notes.tsv
var fmiTable string

//go:embed data/spn_aliases.tsv
var aliasTable string

// index is the catalogue before it is read: which line of the embedded tables speaks of which group and
// which parameter. A program that follows five groups of a bus reads their lines only; a group is
// read when it is first asked for, once. All methods may be called from several goroutines.
type index struct {
	groups map[uint32]*group
	pgns   []uint32 // in order
	rows   []row    // of parameters

	numbers  func() map[uint32]*number
	names    func() map[string][]uint32 // SPNs
	aliases  func() map[uint32]string   // lines of spn_aliases.tsv
	all      func() []*Parameter
	messages func() []*Message
}

// row is a line that speaks of a parameter; pgn is noGroup where it stands in trouble codes only.
type row struct {
	line     string
	spn, pgn uint32
}

const noGroup = 1 << 31

// group is one parameter group: the line that names it and the spans of rows of its parameters, one span a table.
type group struct {
	line    string
	spans   [2]struct{ from, to int }
	once    sync.Once
	message *Message
}

// number is one SPN: the groups it stands in, or the line of one that stands in trouble codes only.
type number struct {
	groups []uint32
	line   string
	once   sync.Once
	found  []*Parameter
}

// newIndex finds the lines. The tables are part of the program: a line that cannot be read is a broken
// program, and a test reads them all.
func newIndex() *index {
	x := &index{groups: make(map[uint32]*group, 1024), rows: make([]row, 0, 5000)}
	x.numbers, x.aliases = sync.OnceValue(x.readNumbers), sync.OnceValue(readAliases)
	x.names = sync.OnceValue(x.readNames)
	x.all, x.messages = sync.OnceValue(x.readAll), sync.OnceValue(x.readMessages)
	eachLine(pgnsTable, x.enterGroup)
	eachLine(morePGNsTable, x.enterGroup)
	for table, text := range []string{spnsTable, moreSPNsTable} {
		eachLine(text, func(line string) { x.enterParameter(table, line) })
	}
	slices.Sort(x.pgns)
	return x
}

// eachLine gives every line below the heading to enter.
func eachLine(text string, enter func(line string)) {
	_, text, _ = strings.Cut(text, "\n")
	for text != "" {
		line, rest, _ := strings.Cut(text, "\n")
		if line != "" {
			enter(line)
		}
		text = rest
	}
}

func (x *index) enterGroup(line string) {
	pgn := leadingNumber(line)
	x.groups[pgn] = &group{line: line}
	x.pgns = append(x.pgns, pgn)
}

// enterParameter enters a line of a table; in each table the lines of a group stand together.
func (x *index) enterParameter(table int, line string) {
	at := len(x.rows)
	_, rest, _ := strings.Cut(line, "\t")
	if rest == "" || rest[0] == '\t' {
		x.rows = append(x.rows, row{line, leadingNumber(line), noGroup})
		return
	}
	x.rows = append(x.rows, row{line, leadingNumber(line), leadingNumber(rest)})
	g := x.groups[x.rows[at].pgn]
	if g == nil {
		panic(fmt.Sprintf("spn: line %.40q: its PGN is in no table of groups", line))
	}
	span := &g.spans[table]
	if span.to == 0 {
		span.from, span.to = at, at
	}
	if span.to != at {
		panic(fmt.Sprintf("spn: line %.40q does not stand beside the others of its PGN", line))
	}
	span.to++
}

func (x *index) readNumbers() map[uint32]*number {
	all := make(map[uint32]*number, len(x.rows))
	for _, r := range x.rows {
		n := all[r.spn]
		if n == nil {
			n = new(number)
			all[r.spn] = n
		}
		if r.pgn == noGroup {
			n.line = r.line
		} else {
			n.groups = append(n.groups, r.pgn)
		}
	}
	return all
}

func (x *index) readNames() map[string][]uint32 {
	all := make(map[string][]uint32, len(x.rows))
	for _, r := range x.rows {
		_, rest, _ := strings.Cut(r.line, "\t")
		_, rest, _ = strings.Cut(rest, "\t")
		name, _, _ := strings.Cut(rest, "\t")
		if !slices.Contains(all[name], r.spn) {
			all[name] = append(all[name], r.spn)
		}
	}
	return all
}

func readAliases() map[uint32]string {
	all := make(map[uint32]string, 600)
	eachLine(aliasTable, func(line string) { all[leadingNumber(line)] = line })
	return all
}

// leadingNumber reads the digits that a line begins with.
func leadingNumber(line string) uint32 {
	end := 0
	for end < len(line) && line[end] >= '0' && line[end] <= '9' {
		end++
	}
	n, err := strconv.ParseUint(line[:end], 10, 31)
	if err != nil {
		panic(fmt.Sprintf("spn: line %.40q does not begin with a number", line))
	}
	return uint32(n)
}

// group returns the group of that number, read; nil when the catalogue has none.
func (x *index) group(pgn uint32) *Message {
	g := x.groups[pgn]
	if g == nil {
		return nil
	}
	g.once.Do(func() { x.readGroup(g) })
	return g.message
}

func (x *index) readGroup(g *group) {
	m, err := readMessage(fieldsOf(g.line, 9))
	for _, span := range g.spans {
		for _, r := range x.rows[span.from:span.to] {
			if err == nil {
				err = x.readInto(m, r.line)
			}
		}
	}
	if err != nil {
		panic("spn: " + err.Error())
	}
	slices.SortStableFunc(m.Parameters, func(a, b *Parameter) int { return a.order() - b.order() })
	g.message = m
}

// find returns the parameters of that number, in the tables' order.
func (x *index) find(spn uint32) []*Parameter {
	n := x.numbers()[spn]
	if n == nil {
		return nil
	}
	n.once.Do(func() {
		for _, pgn := range n.groups {
			n.found = append(n.found, x.group(pgn).Parameter(spn))
		}
		if n.line != "" {
			p, err := x.readParameter(fieldsOf(n.line, 14))
			if err != nil {
				panic("spn: " + err.Error())
			}
			n.found = append(n.found, p)
		}
	})
	return n.found
}

func (x *index) readMessages() []*Message {
	all := make([]*Message, len(x.pgns))
	for i, pgn := range x.pgns {
		all[i] = x.group(pgn)
	}
	return all
}

func (x *index) readAll() []*Parameter {
	var all []*Parameter
	for spn := range x.numbers() {
		all = append(all, x.find(spn)...)
	}
	slices.SortFunc(all, func(a, b *Parameter) int {
		if a.SPN != b.SPN {
			return int(a.SPN) - int(b.SPN)
		}
		return int(a.PGN) - int(b.PGN)
	})
	return all
}

// fieldsOf cuts a line at its tabs. Missing fields are empty.
func fieldsOf(line string, columns int) []string {
	fields := make([]string, columns)
	for i := range fields {
		fields[i], line, _ = strings.Cut(line, "\t")
	}
	return fields
}
