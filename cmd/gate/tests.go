package main

import (
	"bufio"
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"os"
	"os/exec"
	"slices"
	"strings"
	"time"
)

// slowest is how many of the slowest tests are named.
const slowest = 5

// event is one line of go test -json (go doc test2json).
type event struct {
	Action, Package, ImportPath, Test, Output string
	Elapsed                                   float64 // s
}

// summary is what a run of go test came to.
type summary struct {
	out     io.Writer
	said    map[string][]string // output of a test, by package and name, while it may still be needed
	tests   []event             // those without a slash in the name, ended
	skipped []string            // name and reason
	passed  int
	failed  int
}

// runTests runs go test with the arguments, prints a line a package and what failed as it comes, and then what took
// long. Times are by this computer's clock: tests beside each other make each other longer.
func runTests(out io.Writer, args []string) error {
	began := time.Now()
	test := exec.Command("go", append([]string{"test", "-json"}, args...)...)
	test.Stderr = os.Stderr
	pipe, err := test.StdoutPipe()
	if err != nil {
		return err
	}
	if err := test.Start(); err != nil {
		return err
	}
	s := &summary{out: out, said: map[string][]string{}}
	readErr := s.read(pipe)
	err = test.Wait()
	if err == nil {
		err = readErr
	}
	s.print(slices.Contains(args, "-short"))
	used := test.ProcessState.UserTime() + test.ProcessState.SystemTime()
	fmt.Fprintf(out, "took %.0f s and %.0f s of processor time, compiling included; load of this machine now: %s\n",
		time.Since(began).Seconds(), used.Seconds(), load())
	return err
}

// load is the machine's load averages of 1, 5 and 15 minutes, "unknown" where the system does not tell.
func load() string {
	text, err := os.ReadFile("/proc/loadavg")
	if f := strings.Fields(string(text)); err == nil && len(f) >= 3 {
		return strings.Join(f[:3], " ")
	}
	return "unknown"
}

func (s *summary) read(r io.Reader) error {
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, 16<<20)
	for lines.Scan() {
		var e event
		if err := json.Unmarshal(lines.Bytes(), &e); err != nil {
			fmt.Fprintln(s.out, lines.Text()) // go itself says something
			continue
		}
		s.take(e)
	}
	return lines.Err()
}

func (s *summary) take(e event) {
	key := e.Package + " " + e.Test
	switch e.Action {
	case "build-output":
		fmt.Fprint(s.out, e.Output)
	case "output":
		s.output(key, e)
	case "pass", "fail", "skip":
		s.ended(key, e)
	}
}

// output keeps what a test says, and shows what go says of a package.
func (s *summary) output(key string, e event) {
	switch {
	case e.Test != "":
		s.said[key] = append(s.said[key], e.Output)
	case strings.HasPrefix(e.Output, "ok ") || strings.HasPrefix(e.Output, "FAIL\t"):
		fmt.Fprint(s.out, e.Output)
	case e.Output != "PASS\n" && e.Output != "FAIL\n" && !strings.Contains(e.Output, "[no test files]"):
		s.said[e.Package+" "] = append(s.said[e.Package+" "], e.Output)
	}
}

func (s *summary) ended(key string, e event) {
	if e.Test == "" {
		if e.Action == "fail" { // with what belongs to a test that never ended, as when the program died in it
			s.dump(e.Package + " ")
		}
		return
	}
	lines := s.said[key]
	delete(s.said, key)
	switch e.Action {
	case "pass":
		s.passed++
	case "fail":
		s.failed++
		fmt.Fprint(s.out, strings.Join(lines, ""))
	case "skip":
		s.skipped = append(s.skipped, e.Package+" "+e.Test+reason(lines))
	}
	if !strings.Contains(e.Test, "/") {
		s.tests = append(s.tests, e)
	}
}

// dump prints what is left of a package's output, in the order of its tests' names.
func (s *summary) dump(of string) {
	for _, key := range slices.Sorted(maps.Keys(s.said)) {
		if strings.HasPrefix(key, of) {
			fmt.Fprint(s.out, strings.Join(s.said[key], ""))
			delete(s.said, key)
		}
	}
}

// reason is what a skipped test said of why: "    x_test.go:12: why".
func reason(lines []string) string {
	for _, line := range lines {
		if _, why, ok := strings.Cut(line, ".go:"); ok {
			if _, why, ok = strings.Cut(why, ": "); ok {
				return ": " + strings.TrimSpace(why)
			}
		}
	}
	return ""
}

// print says what was skipped, where that is not what was asked for, and what took longest.
func (s *summary) print(short bool) {
	slices.Sort(s.skipped)
	for _, skipped := range s.skipped {
		if !short {
			fmt.Fprintln(s.out, "skipped:", strings.TrimPrefix(skipped, "holdfast/"))
		}
	}
	slices.SortStableFunc(s.tests, func(a, b event) int { return cmp.Compare(b.Elapsed, a.Elapsed) })
	fmt.Fprintf(s.out, "%d passed, %d failed, %d skipped; the slowest:\n", s.passed, s.failed, len(s.skipped))
	for _, e := range s.tests[:min(slowest, len(s.tests))] {
		fmt.Fprintf(s.out, "%8.1f s  %s %s\n", e.Elapsed, strings.TrimPrefix(e.Package, "holdfast/"), e.Test)
	}
}
