package main

import "testing"

// "make quick" runs the tests with -short: what takes seconds runs a few of its cases or none. "make test" runs them all.

// some is all of a list, and every n-th of it in a short run.
func some[T any](all []T, n int) (kept []T) {
	if !testing.Short() {
		return all
	}
	for i := 0; i < len(all); i += n {
		kept = append(kept, all[i])
	}
	return kept
}

// long skips a test that takes seconds in a short run.
func long(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("takes seconds: make test runs it")
	}
}
