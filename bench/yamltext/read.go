package yamltext

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// Bounds of a file. They are far above anything a person writes and keep the YAML library,
// which is recursive, away from inputs made to hurt it.
const (
	MaxSize  = 1 << 20 // bytes
	MaxLines = 10_000  // the library takes time with the square of the number of documents
	MaxLine  = 1000    // bytes; nesting by indentation cannot be deeper than a line is long
	MaxDepth = 12      // levels of maps and lists
)

// Reader collects the problems of one file.
type Reader struct {
	path     string
	problems Problems
}

// Read reads a file into a tree. The root is nil when the text is no YAML that can be read;
// the reader then holds the reason.
func Read(path string, text []byte) (*Reader, *Node) {
	r := &Reader{path: path}
	if !r.bounded(text) {
		return r, nil
	}
	file, err := parse(text)
	if err != nil {
		r.syntax(err)
		return r, nil
	}
	var bodies []ast.Node
	for _, d := range file.Docs {
		if d.Body != nil {
			bodies = append(bodies, d.Body)
		}
	}
	if len(bodies) != 1 {
		r.Add(nil, fmt.Sprintf("%d documents in the file", len(bodies)), "write exactly one")
		return r, nil
	}
	root := r.convert(bodies[0], 0)
	if root.Kind != Map {
		r.Add(root, "the file starts with "+root.Kind.words(), "start with a key, for example \"holdfast: ...\"")
		return r, nil
	}
	return r, root
}

// Add notes a problem at a node; nil is the file as a whole.
func (r *Reader) Add(n *Node, found, do string) {
	if n == nil {
		n = &Node{}
	}
	r.AddAt(n.Line, n.Column, found, do)
}

// AddAt notes a problem at a place.
func (r *Reader) AddAt(line, column int, found, do string) {
	r.problems = append(r.problems, Problem{r.path, line, column, found, do})
}

// Problems returns what was found so far, in the order of the text.
func (r *Reader) Problems() Problems { return r.problems.sorted() }

// OK says that nothing is wrong so far.
func (r *Reader) OK() bool { return len(r.problems) == 0 }

// bounded refuses what must not reach the YAML library.
func (r *Reader) bounded(text []byte) bool {
	if len(text) > MaxSize {
		r.Add(nil, fmt.Sprintf("%d bytes", len(text)), fmt.Sprintf("a file has at most %d", MaxSize))
		return false
	}
	if lines := bytes.Count(text, []byte("\n")); lines > MaxLines {
		r.Add(nil, fmt.Sprintf("%d lines", lines), fmt.Sprintf("a file has at most %d", MaxLines))
		return false
	}
	depth := 0
	for i, line := range bytes.Split(text, []byte("\n")) {
		if len(line) > MaxLine {
			r.AddAt(i+1, MaxLine, fmt.Sprintf("a line of %d bytes", len(line)),
				fmt.Sprintf("a line has at most %d", MaxLine))
		} else if column, c := foreign(line); column > 0 {
			r.AddAt(i+1, column, fmt.Sprintf("character %q", c), "write plain text (UTF-8), indent with spaces")
		}
		if depth += bytes.Count(line, []byte("{")) + bytes.Count(line, []byte("[")); depth > 20*MaxDepth {
			r.AddAt(i+1, 1, "brackets nested too deeply", "close them")
			return false
		}
		depth = max(0, depth-bytes.Count(line, []byte("}"))-bytes.Count(line, []byte("]")))
	}
	return r.OK()
}

// foreign finds a character that has no place in a file written by a person: control
// characters, tabs, invisible formatting, broken UTF-8. Column 0: none.
func foreign(line []byte) (int, rune) {
	line = bytes.TrimSuffix(line, []byte("\r"))
	column := 0
	for len(line) > 0 {
		c, n := utf8.DecodeRune(line)
		column++
		if c == utf8.RuneError && n == 1 || unicode.IsControl(c) || unicode.Is(unicode.Cf, c) ||
			c == '\u2028' || c == '\u2029' {
			return column, c
		}
		line = line[n:]
	}
	return 0, 0
}

// parse calls the library. It is fed text from strangers, so a panic in it is answered as
// unreadable text and not passed on.
func parse(text []byte) (file *ast.File, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic in the YAML library: %v", p)
		}
	}()
	return parser.ParseBytes(text, 0, parser.AllowDuplicateMapKey())
}

func (r *Reader) syntax(err error) {
	var at yaml.Error
	if errors.As(err, &at) && at.GetToken() != nil && at.GetToken().Position != nil {
		p := at.GetToken().Position
		s := inWords(at.GetMessage())
		r.AddAt(p.Line, p.Column, s.found, s.do)
		return
	}
	r.Add(nil, anyOther.found, anyOther.do) // no place: the library gave up on the text as a whole
}

// convert takes the library's tree into ours and refuses the parts of YAML that we do not read.
func (r *Reader) convert(n ast.Node, depth int) *Node {
	out := place(n)
	if depth > MaxDepth {
		r.Add(out, "nested too deeply", fmt.Sprintf("a file has at most %d levels", MaxDepth))
		return out
	}
	switch n := n.(type) {
	case *ast.MappingNode:
		out.Kind = Map
		for _, v := range n.Values {
			r.entry(out, v, depth)
		}
	case *ast.MappingValueNode:
		out.Kind = Map
		r.entry(out, n, depth)
	case *ast.SequenceNode:
		out.Kind = List
		for _, v := range n.Values {
			out.Items = append(out.Items, r.convert(v, depth+1))
		}
	case *ast.NullNode:
		out.written(n.GetToken())
	case *ast.StringNode:
		out.Kind, out.Text = Text, n.Value
	case *ast.LiteralNode:
		out.Kind, out.Text = Text, strings.TrimSpace(n.Value.Value)
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		out.Kind, out.Text = Text, n.GetToken().Value
	default:
		r.Add(out, fmt.Sprintf("a YAML %s", strings.ToLower(n.Type().String())),
			"write keys, lists and plain text only")
	}
	return out
}

// written tells "a:" (nothing) from "a: null" and "a: ~", which are text like any other.
func (n *Node) written(t *token.Token) {
	if o := strings.TrimSpace(t.Origin); o != "" && o != ":" && t.Type == token.NullType {
		n.Kind, n.Text = Text, o
	}
}

func (r *Reader) entry(into *Node, v *ast.MappingValueNode, depth int) {
	key, ok := v.Key.(*ast.StringNode)
	if !ok {
		at := place(v.Key)
		text := v.Key.GetToken().Value
		switch v.Key.(type) {
		case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode:
			r.Add(at, fmt.Sprintf("key %q", text), "a key is a word")
		default:
			r.Add(at, fmt.Sprintf("%q as a key", text), "a key is a plain word")
		}
		return
	}
	at := place(key)
	if len(into.Entries) == 0 {
		into.Line, into.Column = at.Line, at.Column
	}
	if first := into.Entry(key.Value); first != nil {
		r.Add(at, fmt.Sprintf("%s for the second time", key.Value),
			fmt.Sprintf("the first stands on line %d; keep one", first.Line))
		return
	}
	value := r.convert(v.Value, depth+1)
	if value.Kind == Empty {
		value.Line, value.Column = at.Line, at.Column
	}
	into.Entries = append(into.Entries, Entry{key.Value, at.Line, at.Column, value})
}

func place(n ast.Node) *Node {
	if t := n.GetToken(); t != nil && t.Position != nil {
		return &Node{Line: t.Position.Line, Column: t.Position.Column}
	}
	return &Node{Line: 1, Column: 1}
}

// Count is how many problems were found so far.
func (r *Reader) Count() int { return len(r.problems) }
