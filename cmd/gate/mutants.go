package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
)

// mutantsBar is the share of mutants, without those that are listed as equivalent, that the tests must kill: percent.
const mutantsBar = 90.0

// equivalentFile lists mutants that change nothing a test could see: package, file, change and reason, by tabs.
const equivalentFile = evidenceDir + "/equivalent-mutants.txt"

// A mutant that runs into an endless loop is ended after so many times the processor time of a run without one.
const (
	timesCPU = 5
	leastCPU = 10 // s
)

// runMutants changes one operator after the other of the packages and runs each package's own tests: those that pass
// nevertheless do not notice that operator.
func runMutants(out io.Writer, top string, args []string) error {
	flags := flag.NewFlagSet("mutants", flag.ContinueOnError)
	most := flags.Int("n", 0, "of a package only so many, drawn by HOLDFAST_SEED")
	if err := flags.Parse(args); err != nil {
		return err
	}
	if flags.NArg() == 0 {
		return errors.New("name the packages, like ./bench/grade")
	}
	seed, err := strconv.ParseUint(cmpOr(os.Getenv("HOLDFAST_SEED"), "1"), 10, 64)
	if err != nil {
		return fmt.Errorf("HOLDFAST_SEED: %w", err)
	}
	reasons, err := readEquivalent(filepath.Join(top, equivalentFile))
	if err != nil {
		return err
	}
	for _, pkg := range flags.Args() {
		t := &trialOf{pkg: strings.TrimPrefix(pkg, "./"), dir: filepath.Join(top, pkg), out: out}
		if err := t.run(*most, seed, reasons); err != nil {
			return fmt.Errorf("%s: %w", pkg, err)
		}
	}
	return nil
}

func cmpOr(a, b string) string {
	if a == "" {
		return b
	}
	return a
}

// trialOf is one package with all its mutants compiled into its test program.
type trialOf struct {
	pkg, dir string
	out      io.Writer
	work     string // a folder of its own for what is compiled
	mutants  []mutant
	flags    []string
	cpu      time.Duration // of the tests without a mutant
}

func (t *trialOf) run(most int, seed uint64, reasons map[string]string) error {
	var err error
	if t.work, err = os.MkdirTemp("", "mutants"); err != nil {
		return err
	}
	defer os.RemoveAll(t.work)
	if err := t.compile(); err != nil {
		return err
	}
	seen, err := t.plain()
	if err != nil {
		return err
	}
	chosen := rand.New(rand.NewPCG(seed, 1)).Perm(len(t.mutants))
	if most > 0 && most < len(chosen) {
		chosen = chosen[:most]
	}
	slices.Sort(chosen)
	var killed, equivalent, unseen int
	var rows []figure
	for _, i := range chosen {
		m := t.mutants[i]
		reason := reasons[t.pkg+"\t"+m.file+"\t"+m.change()]
		if seen[i+1] && t.kills(i+1) {
			killed++
			if reason != "" {
				return fmt.Errorf("%s is listed as equivalent, and a test notices it", m)
			}
			continue
		}
		word := "survives"
		if !seen[i+1] {
			word, unseen = "is not reached", unseen+1
		}
		if reason != "" {
			equivalent++
			rows = append(rows, figure{t.pkg + "/" + m.String(), word, "equivalent: " + reason, "yes"})
		} else {
			rows = append(rows, figure{t.pkg + "/" + m.String(), word, "one of those that may", "yes"})
		}
		fmt.Fprintln(t.out, t.pkg+"/"+m.String(), word, reason)
	}
	share := 100 * float64(killed) / float64(len(chosen)-equivalent)
	t.says(figure{fmt.Sprintf("mutants of %s killed", t.pkg), fmt.Sprintf("%d of %d, %d of the others equivalent: %.1f %%; "+
		"%d of them not reached; %d mutants in all", killed, len(chosen), equivalent, share, unseen, len(t.mutants)),
		fmt.Sprintf("at least %g %% without the equivalent", mutantsBar), yesNo(share >= mutantsBar)})
	for _, row := range rows {
		t.says(row)
	}
	return nil
}

func yesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

func (t *trialOf) says(f figure) {
	fmt.Fprintf(t.out, "%s%s\t%s\t%s\t%s\n", mark, f.what, f.value, f.bar, f.met)
}

// compile builds the test program with every mutant in it.
func (t *trialOf) compile() error {
	list := exec.Command("go", "list", "-export", "-deps", "-test", "-f",
		`{{if .Export}}{{.ImportPath}}	{{.Export}}{{end}}`, ".")
	list.Dir, list.Stderr = t.dir, os.Stderr
	said, err := list.Output()
	if err != nil {
		return err
	}
	exports := map[string]string{}
	for _, line := range strings.Split(string(said), "\n") {
		if path, file, ok := strings.Cut(line, "\t"); ok {
			exports[path] = file
		}
	}
	replace, err := t.mutate(exports)
	if err != nil {
		return err
	}
	overlay, err := json.Marshal(map[string]any{"Replace": replace})
	if err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(t.work, "overlay.json"), overlay, 0o644); err != nil {
		return err
	}
	build := exec.Command("go", "test", "-c", "-vet=off", "-overlay", filepath.Join(t.work, "overlay.json"), "-o", t.program(), ".")
	build.Dir = t.dir
	if said, err := build.CombinedOutput(); err != nil {
		return fmt.Errorf("with its mutants it does not compile: %w\n%s", err, said)
	}
	if uses, _ := exec.Command("grep", "-lr", "pgregory.net/rapid", "--include=*_test.go", t.dir).Output(); len(uses) > 0 {
		t.flags = []string{"-rapid.nofailfile", "-rapid.seed=1"} // the same every time, and nothing left behind
	}
	return nil
}

func (t *trialOf) program() string { return filepath.Join(t.work, "package.test") }

// mutate writes the package's files with mutants and returns which file stands for which.
func (t *trialOf) mutate(exports map[string]string) (map[string]string, error) {
	dir, err := filepath.Abs(t.dir)
	if err != nil {
		return nil, err
	}
	list := exec.Command("go", "list", "-f", `{{join .GoFiles "\n"}}`, ".")
	list.Dir = dir
	said, err := list.Output()
	if err != nil {
		return nil, err
	}
	m := &mutator{fset: token.NewFileSet(), info: &types.Info{Types: map[ast.Expr]types.TypeAndValue{}}}
	var files []*ast.File
	var texts [][]byte
	names := strings.Fields(string(said))
	for _, name := range names {
		text, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			return nil, err
		}
		f, err := parser.ParseFile(m.fset, name, text, parser.SkipObjectResolution)
		if err != nil {
			return nil, err
		}
		files, texts = append(files, f), append(texts, text)
	}
	imports := importer.ForCompiler(m.fset, "gc", func(path string) (io.ReadCloser, error) {
		if exports[path] == "" {
			return nil, fmt.Errorf("no export data of %s", path)
		}
		return os.Open(exports[path])
	})
	if m.pkg, err = (&types.Config{Importer: imports}).Check("holdfast/"+t.pkg, m.fset, files, m.info); err != nil {
		return nil, err
	}
	helper := filepath.Join(t.work, "mutant_support.go")
	if err := os.WriteFile(helper, fmt.Appendf(nil, support, m.pkg.Name()), 0o644); err != nil {
		return nil, err
	}
	replace := map[string]string{filepath.Join(dir, "mutant_support.go"): helper}
	for i, name := range names {
		changed := filepath.Join(t.work, name)
		if err := os.WriteFile(changed, []byte(m.rewrite(files[i], name, texts[i])), 0o644); err != nil {
			return nil, err
		}
		replace[filepath.Join(dir, name)] = changed
	}
	t.mutants = m.mutants
	return replace, nil
}

// plain runs the tests without a mutant: they must pass. It returns which mutants they come by.
func (t *trialOf) plain() (map[int]bool, error) {
	file := filepath.Join(t.work, "seen")
	test := exec.Command(t.program(), t.flags...)
	test.Dir, test.Env = t.dir, append(os.Environ(), "HOLDFAST_MUTANTS_SEEN="+file)
	if said, err := test.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("without a mutant: %w\n%s", err, said)
	}
	t.cpu = test.ProcessState.UserTime() + test.ProcessState.SystemTime()
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	seen := map[int]bool{}
	for _, line := range bytes.Fields(text) {
		id, err := strconv.Atoi(string(line))
		if err != nil {
			return nil, err
		}
		// One place may hold several mutants, and writes the number of the first.
		at := t.mutants[id-1]
		for ; id <= len(t.mutants) && t.mutants[id-1].row == at.row && t.mutants[id-1].col == at.col &&
			t.mutants[id-1].file == at.file; id++ {
			seen[id] = true
		}
	}
	fmt.Fprintf(t.out, "%s: %d mutants, %d reached; the tests take %.1f s of processor time\n", t.pkg, len(t.mutants), len(seen),
		t.cpu.Seconds())
	return seen, nil
}

// kills reports whether a test fails with the mutant: first those of a short run, then all.
func (t *trialOf) kills(id int) bool {
	for _, more := range [][]string{{"-test.short"}, nil} {
		if t.fails(id, more) {
			return true
		}
	}
	return false
}

func (t *trialOf) fails(id int, more []string) bool {
	// The limit goes by processor time: how busy this machine is kills no mutant.
	limit := max(leastCPU, int(timesCPU*t.cpu.Seconds()))
	ctx, cancel := context.WithTimeout(context.Background(), time.Duration(20*limit)*time.Second)
	defer cancel()
	args := append([]string{"-c", `ulimit -t "$1"; shift; exec "$@"`, "sh", strconv.Itoa(limit), t.program(), "-test.failfast"}, t.flags...)
	test := exec.CommandContext(ctx, "sh", append(args, more...)...)
	test.Dir, test.Env = t.dir, append(os.Environ(), "HOLDFAST_MUTANT="+strconv.Itoa(id))
	return test.Run() != nil
}

// readEquivalent reads the list of mutants that nothing can tell from the program: by package, file and change.
func readEquivalent(path string) (map[string]string, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	reasons := map[string]string{}
	for n, line := range strings.Split(string(text), "\n") {
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		f := strings.Split(line, "\t")
		if len(f) != 4 || f[3] == "" {
			return nil, fmt.Errorf("%s:%d: need package, file, change and reason, separated by one tab each", path, n+1)
		}
		reasons[strings.Join(f[:3], "\t")] = f[3]
	}
	return reasons, nil
}
