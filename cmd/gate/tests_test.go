package main

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// What go test -json says of one package that passes, one that fails, one that dies in a test, and one that
// does not compile.
const told = `{"Action":"output","Package":"holdfast/a","Test":"TestFast","Output":"=== RUN   TestFast\n"}
{"Action":"output","Package":"holdfast/a","Test":"TestFast","Output":"    a_test.go:3: all is well\n"}
{"Action":"pass","Package":"holdfast/a","Test":"TestFast","Elapsed":0.1}
{"Action":"pass","Package":"holdfast/a","Test":"TestSlow/sub","Elapsed":8.9}
{"Action":"pass","Package":"holdfast/a","Test":"TestSlow","Elapsed":9}
{"Action":"output","Package":"holdfast/a","Test":"TestNot","Output":"    a_test.go:9: no recordings here\n"}
{"Action":"skip","Package":"holdfast/a","Test":"TestNot","Elapsed":0}
{"Action":"output","Package":"holdfast/a","Output":"PASS\n"}
{"Action":"output","Package":"holdfast/a","Output":"ok  \tholdfast/a\t9.1s\n"}
{"Action":"pass","Package":"holdfast/a","Elapsed":9.1}
{"Action":"output","Package":"holdfast/b","Test":"TestWrong","Output":"    b_test.go:7: got 2, want 1\n"}
{"Action":"fail","Package":"holdfast/b","Test":"TestWrong","Elapsed":0.5}
{"Action":"output","Package":"holdfast/b","Test":"TestDies","Output":"panic: out of range\n"}
{"Action":"output","Package":"holdfast/b","Output":"FAIL\tholdfast/b\t0.6s\n"}
{"Action":"fail","Package":"holdfast/b","Elapsed":0.6}
{"ImportPath":"holdfast/c","Action":"build-output","Output":"c.go:1:1: undefined: x\n"}
`

func TestTests(t *testing.T) {
	var out bytes.Buffer
	s := &summary{out: &out, said: map[string][]string{}}
	require.NoError(t, s.read(strings.NewReader(told+"go: something else\n")))
	s.print(false)
	require.Equal(t, "ok  \tholdfast/a\t9.1s\n"+
		"    b_test.go:7: got 2, want 1\n"+
		"FAIL\tholdfast/b\t0.6s\n"+
		"panic: out of range\n"+
		"c.go:1:1: undefined: x\n"+
		"go: something else\n"+
		"skipped: a TestNot: no recordings here\n"+
		"3 passed, 1 failed, 1 skipped; the slowest:\n"+
		"     9.0 s  a TestSlow\n     0.5 s  b TestWrong\n     0.1 s  a TestFast\n     0.0 s  a TestNot\n", out.String())
	out.Reset()
	s.print(true)
	require.NotContains(t, out.String(), "skipped: ", "a short run skips much, as it was asked to")
}

// A run that fails says so by its error.
func TestTests_Fails(t *testing.T) {
	var out bytes.Buffer
	require.Error(t, runTests(&out, []string{"./no/such/room"}))
	require.Contains(t, out.String(), "processor time")
}
