package main

import (
	"fmt"
	"go/ast"
	"go/token"
	"go/types"
	"slices"
	"strings"
)

// mutant is one change of one operator.
type mutant struct {
	file, line string // base name, and the source line without its indentation
	row, col   int
	was, is    string // the operator
}

// String is how a mutant is listed; without row and column it is its key in the list of equivalent ones.
func (m mutant) String() string { return fmt.Sprintf("%s:%d:%d: %s", m.file, m.row, m.col, m.change()) }
func (m mutant) change() string { return fmt.Sprintf("%s -> %s in %s", m.was, m.is, m.line) }

// instead is what each operator is changed to: negated, its boundary moved, or its inverse.
var instead = map[token.Token][]token.Token{
	token.EQL: {token.NEQ}, token.NEQ: {token.EQL},
	token.LSS: {token.LEQ, token.GEQ}, token.LEQ: {token.LSS, token.GTR},
	token.GTR: {token.GEQ, token.LEQ}, token.GEQ: {token.GTR, token.LSS},
	token.ADD: {token.SUB}, token.SUB: {token.ADD}, token.MUL: {token.QUO}, token.QUO: {token.MUL}, token.REM: {token.MUL},
	token.LAND: {token.LOR}, token.LOR: {token.LAND},
}

// support is the file that every mutated package gets: all mutants are compiled once, and the environment says which is
// alive. So that a run without any tells which are reached, each writes its number when it first comes by.
const support = `package %s

import (
	"os"
	"strconv"
	"sync/atomic"
)

var (
	mutantAlive, _ = strconv.Atoi(os.Getenv("HOLDFAST_MUTANT"))
	mutantSeen     = os.Getenv("HOLDFAST_MUTANTS_SEEN")
	mutantsSeen    [1 << 16]atomic.Bool
)

func mutantAt(id, n int) int {
	if mutantSeen != "" && !mutantsSeen[id].Load() && !mutantsSeen[id].Swap(true) {
		if f, err := os.OpenFile(mutantSeen, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o644); err == nil {
			f.WriteString(strconv.Itoa(id) + "\n")
			f.Close()
		}
	}
	if i := mutantAlive - id; i >= 0 && i < n {
		return i + 1
	}
	return 0
}

// mutantOf is the first, or of the mutants from id on the one that is alive.
func mutantOf[T any](id int, ways ...func() T) T { return ways[mutantAt(id, len(ways)-1)]() }

type mutantNumber interface {
	~int | ~int8 | ~int16 | ~int32 | ~int64 | ~uint | ~uint8 | ~uint16 | ~uint32 | ~uint64 | ~uintptr | ~float32 | ~float64
}

// mutantStep is 1, or -1 of the type of x.
func mutantStep[T mutantNumber](id int, x T) T {
	if mutantAt(id, 1) == 1 {
		return 0 - T(1)
	}
	return 1
}
`

// site is a place in one file that is changed: the text from start to end becomes text().
type site struct {
	start, end int
	text       func() string
}

// mutator rewrites one package; the first mutant has the number 1.
type mutator struct {
	fset    *token.FileSet
	info    *types.Info
	pkg     *types.Package
	mutants []mutant
}

// rewrite returns a file's text with every mutant in it, each in its own way out of the ordinary one.
func (m *mutator) rewrite(f *ast.File, name string, text []byte) string {
	r := &rewriter{m: m, name: name, text: text, imports: map[string]string{}}
	for _, spec := range f.Imports {
		path := strings.Trim(spec.Path.Value, `"`)
		if spec.Name != nil {
			r.imports[path] = spec.Name.Name
		} else {
			r.imports[path] = ""
		}
	}
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.GenDecl:
			return n.Tok != token.CONST // a constant is no function's
		case *ast.BinaryExpr:
			r.binary(n)
		case *ast.UnaryExpr:
			r.negative(n)
		case *ast.IncDecStmt:
			r.step(n)
		}
		return true
	})
	return r.render(0, len(text))
}

type rewriter struct {
	m       *mutator
	name    string
	text    []byte
	imports map[string]string // path to the name it is given here, "" for its own
	sites   []site
}

func (r *rewriter) at(p token.Pos) int { return r.m.fset.Position(p).Offset }

func (r *rewriter) raw(n ast.Node) string { return string(r.text[r.at(n.Pos()):r.at(n.End())]) }

// render is the text of a range with its sites rewritten. An inner site is rewritten by the one around it.
func (r *rewriter) render(from, to int) string {
	var out strings.Builder
	for at := from; at < to; {
		next := slices.IndexFunc(r.sites, func(s site) bool { return s.start >= at && s.end <= to })
		if next < 0 {
			out.Write(r.text[at:to])
			break
		}
		s := r.sites[next]
		out.Write(r.text[at:s.start])
		out.WriteString(s.text())
		at = s.end
	}
	return out.String()
}

// add notes the mutants of one place and returns the number of the first.
func (r *rewriter) add(p token.Pos, was string, is ...string) int {
	first := len(r.m.mutants) + 1
	pos := r.m.fset.Position(p)
	line := strings.TrimSpace(strings.Split(string(r.text), "\n")[pos.Line-1])
	for _, to := range is {
		r.m.mutants = append(r.m.mutants, mutant{r.name, line, pos.Line, pos.Column, was, to})
	}
	return first
}

// binary takes comparisons, sums, products and logic whose value is not known to the compiler.
func (r *rewriter) binary(e *ast.BinaryExpr) {
	to, known := instead[e.Op], r.m.info.Types[e]
	typ, ok := r.typeName(known.Type)
	if len(to) == 0 || known.Value != nil || !ok || e.Op == token.ADD && isString(known.Type) {
		return
	}
	var names []string
	for _, op := range to {
		if isFloat(known.Type) && op == token.REM {
			continue
		}
		names = append(names, op.String())
	}
	id := r.add(e.OpPos, e.Op.String(), names...)
	start, end := r.at(e.Pos()), r.at(e.End())
	inX, inY := [2]int{start, r.at(e.X.End())}, [2]int{r.at(e.Y.Pos()), end}
	r.sites = append(r.sites, site{start, end, func() string {
		text := fmt.Sprintf("mutantOf(%d, func() %s { return %s%s%s }", id, typ, r.inside(inX),
			r.text[inX[1]:inY[0]], r.inside(inY))
		for _, op := range names {
			text += fmt.Sprintf(", func() %s { return (%s) %s (%s) }", typ, r.raw(e.X), op, r.raw(e.Y))
		}
		return text + ")"
	}})
}

// inside renders an operand, which begins or ends where the site around it does.
func (r *rewriter) inside(span [2]int) string {
	outer := r.sites
	defer func() { r.sites = outer }()
	r.sites = slices.DeleteFunc(slices.Clone(outer), func(s site) bool { return s.start < span[0] || s.end > span[1] })
	return r.render(span[0], span[1])
}

// negative takes -x.
func (r *rewriter) negative(e *ast.UnaryExpr) {
	known := r.m.info.Types[e]
	typ, ok := r.typeName(known.Type)
	if e.Op != token.SUB || known.Value != nil || !ok {
		return
	}
	id := r.add(e.OpPos, "-", "+")
	span := [2]int{r.at(e.X.Pos()), r.at(e.X.End())}
	r.sites = append(r.sites, site{r.at(e.Pos()), r.at(e.End()), func() string {
		return fmt.Sprintf("mutantOf(%d, func() %s { return -%s }, func() %s { return %s })", id, typ, r.inside(span), typ, r.raw(e.X))
	}})
}

// step takes x++ and x--.
func (r *rewriter) step(s *ast.IncDecStmt) {
	was, op := "++", "+="
	if s.Tok == token.DEC {
		was, op = "--", "-="
	}
	id := r.add(s.TokPos, was, map[string]string{"++": "--", "--": "++"}[was])
	span := [2]int{r.at(s.X.Pos()), r.at(s.X.End())}
	r.sites = append(r.sites, site{r.at(s.Pos()), r.at(s.End()), func() string {
		return fmt.Sprintf("%s %s mutantStep(%d, %s)", r.inside(span), op, id, r.raw(s.X))
	}})
}

// typeName is a type as this file writes it; not ok where the file does not import what it would take.
func (r *rewriter) typeName(t types.Type) (name string, ok bool) {
	if t == nil {
		return "", false
	}
	ok = true
	name = types.TypeString(types.Default(t), func(p *types.Package) string {
		if p == r.m.pkg {
			return ""
		}
		given, imported := r.imports[p.Path()]
		if !imported {
			ok = false
		}
		if given != "" {
			return given
		}
		return p.Name()
	})
	return name, ok
}

func isString(t types.Type) bool { return basicInfo(t)&types.IsString != 0 }
func isFloat(t types.Type) bool  { return basicInfo(t)&types.IsFloat != 0 }

func basicInfo(t types.Type) types.BasicInfo {
	if b, ok := t.Underlying().(*types.Basic); ok {
		return b.Info()
	}
	return 0
}
