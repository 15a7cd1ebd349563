package main

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// Where the tables stand, and the list of how each is made.
const (
	evidenceDir  = "testdata/evidence"
	evidenceList = evidenceDir + "/list.tsv"
	mark         = "EVIDENCE\t" // begins what a command says of a figure, wherever in its line
)

// recipe is one line of the list: which table, what it speaks of, and what makes it.
type recipe struct {
	name    string
	paths   []string // git pathspecs, from the top of the tree
	command string   // for sh; it gets HOLDFAST_SEED
}

// figure is one line of a table.
type figure struct{ what, value, bar, met string }

// table is a table as it stands.
type table struct {
	commit, contents string
	figures          []figure
}

func runEvidence(out io.Writer, top string, args []string) error {
	recipes, err := readList(filepath.Join(top, evidenceList))
	if err != nil {
		return err
	}
	if len(args) > 0 && args[0] == "make" {
		return makeTables(out, top, recipes, args[1:])
	}
	doubts := 0
	for _, r := range recipes {
		for _, doubt := range r.doubts(top) {
			fmt.Fprintf(out, "evidence %s: %s\n", r.name, doubt)
			doubts++
		}
	}
	fmt.Fprintf(out, "%d tables of evidence, %d doubts\n", len(recipes), doubts)
	if doubts > 0 && len(args) > 0 && args[0] == "-strict" {
		return errors.New("evidence is missing, old, or below its bar: make evidence")
	}
	return nil
}

// readList reads name, pathspecs and command, separated by tabs; # begins a comment.
func readList(path string) ([]recipe, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	var all []recipe
	for n, line := range strings.Split(string(text), "\n") {
		if strings.TrimSpace(line) == "" || strings.HasPrefix(line, "#") {
			continue
		}
		f := strings.Split(line, "\t")
		if len(f) != 3 || f[0] == "" || len(strings.Fields(f[1])) == 0 || f[2] == "" {
			return nil, fmt.Errorf("%s:%d: need name, paths and command, separated by one tab each", path, n+1)
		}
		all = append(all, recipe{f[0], strings.Fields(f[1]), f[2]})
	}
	return all, nil
}

// doubts are the reasons not to rely on a table; none: it is as old as what it speaks of, and holds its bars.
func (r *recipe) doubts(top string) (doubts []string) {
	t, err := readTable(filepath.Join(top, evidenceDir, r.name+".tsv"))
	if err != nil {
		return []string{"there is no table: " + err.Error()}
	}
	now, err := contents(top, r.paths)
	switch {
	case err != nil:
		doubts = append(doubts, err.Error())
	case now != t.contents:
		doubts = append(doubts, fmt.Sprintf("made at %s; what it speaks of (%s) has changed since%s", t.commit,
			strings.Join(r.paths, " "), since(top, t.commit, r.paths)))
	}
	for _, f := range t.figures {
		if f.met != "yes" {
			doubts = append(doubts, fmt.Sprintf("%s is %s, the bar is %s", f.what, f.value, f.bar))
		}
	}
	return doubts
}

// contents is a hash over the files that paths name, as git has them: it survives a rebase, as a commit does not.
func contents(top string, paths []string) (string, error) {
	files, err := git(top, append([]string{"ls-files", "-s", "--"}, paths...)...)
	if err == nil && files == "" {
		err = fmt.Errorf("git knows no file in %s", strings.Join(paths, " "))
	}
	return fmt.Sprintf("%.8x", sha256.Sum256([]byte(files))), err
}

// since says how many commits have touched the paths, where the commit is still known.
func since(top, commit string, paths []string) string {
	list, err := git(top, append([]string{"log", "--format=%h", commit + "..HEAD", "--"}, paths...)...)
	if n := len(strings.Fields(list)); err == nil && n > 0 {
		return fmt.Sprintf(", in %d commits", n)
	}
	return ""
}

func git(top string, args ...string) (string, error) {
	out, err := exec.Command("git", append([]string{"-C", top}, args...)...).Output()
	if err != nil {
		return "", fmt.Errorf("git %s: %w", args[0], err)
	}
	return strings.TrimSpace(string(out)), nil
}

func readTable(path string) (*table, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	t := &table{}
	for n, line := range strings.Split(strings.TrimSuffix(string(text), "\n"), "\n") {
		if key, value, ok := strings.Cut(strings.TrimPrefix(line, "# "), ": "); ok && strings.HasPrefix(line, "# ") {
			switch key {
			case "commit":
				t.commit = value
			case "contents":
				t.contents = value
			}
			continue
		}
		f := strings.Split(line, "\t")
		if len(f) != 4 {
			return nil, fmt.Errorf("%s:%d: need figure, value, bar and whether it is met, separated by one tab each", path, n+1)
		}
		if line != tableHead {
			t.figures = append(t.figures, figure{f[0], f[1], f[2], f[3]})
		}
	}
	if t.commit == "" || t.contents == "" || len(t.figures) == 0 {
		return nil, fmt.Errorf("%s: names no commit, no contents, or no figure", path)
	}
	return t, nil
}

const tableHead = "figure\tvalue\tbar\tmet"

// makeTables runs the commands one after the other and writes what they say. A table that misses its bar is written
// too: it is what is the case.
func makeTables(out io.Writer, top string, recipes []recipe, names []string) error {
	dirty, err := git(top, "status", "--porcelain", "--", ".", ":!"+evidenceDir)
	if err == nil && dirty != "" {
		err = errors.New("evidence names the commit that it speaks of: commit first")
	}
	if err != nil {
		return err
	}
	commit, err := git(top, "rev-parse", "HEAD")
	if err != nil {
		return err
	}
	var errs []error
	for _, name := range names {
		if !slices.ContainsFunc(recipes, func(r recipe) bool { return r.name == name }) {
			return fmt.Errorf("%s names no table %q", evidenceList, name)
		}
	}
	for _, r := range recipes {
		if len(names) == 0 || slices.Contains(names, r.name) {
			fmt.Fprintf(out, "== %s: %s\n", r.name, r.command)
			errs = append(errs, r.make(out, top, commit))
		}
	}
	return errors.Join(errs...)
}

// make runs one command and writes its table. The seed comes from the commit, so that nobody chooses it.
func (r *recipe) make(out io.Writer, top, commit string) error {
	seed, err := strconv.ParseUint(commit[:8], 16, 64)
	if err != nil {
		return err
	}
	hash, err := contents(top, r.paths)
	if err != nil {
		return err
	}
	var said bytes.Buffer
	command := exec.Command("sh", "-c", r.command)
	command.Dir, command.Stdout, command.Stderr = top, io.MultiWriter(out, &said), os.Stderr
	command.Env = append(os.Environ(), fmt.Sprintf("HOLDFAST_SEED=%d", seed))
	failed := command.Run()
	rows := figuresIn(said.Bytes())
	if len(rows) == 0 {
		return errors.Join(fmt.Errorf("%s: the command says no figure", r.name), failed)
	}
	var text bytes.Buffer
	fmt.Fprintf(&text, "# made by: %s\n# speaks of: %s\n# commit: %s\n# contents: %s\n# seed: %d\n%s\n", r.command,
		strings.Join(r.paths, " "), commit[:12], hash, seed, tableHead)
	for _, f := range rows {
		fmt.Fprintf(&text, "%s\t%s\t%s\t%s\n", f.what, f.value, f.bar, f.met)
	}
	if failed != nil {
		fmt.Fprintf(&text, "the command itself\t%v\texit status 0\tno\n", failed)
	}
	return os.WriteFile(filepath.Join(top, evidenceDir, r.name+".tsv"), text.Bytes(), 0o644)
}

// figuresIn finds the lines that hold a figure: EVIDENCE, figure, value, bar, yes or no, separated by tabs.
func figuresIn(text []byte) (rows []figure) {
	lines := bufio.NewScanner(bytes.NewReader(text))
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		if _, row, ok := strings.Cut(lines.Text(), mark); ok {
			if f := strings.Split(row, "\t"); len(f) == 4 {
				rows = append(rows, figure{f[0], f[1], f[2], f[3]})
			}
		}
	}
	return rows
}
