//go:build !lab

package main

import (
	"os"
	"testing"
)

// TestMain gives the tests a signing key of their own.
func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "holdfast-cmd-")
	if err != nil {
		panic(err)
	}
	if err := os.Setenv("XDG_CONFIG_HOME", dir); err != nil {
		panic(err)
	}
	status := m.Run()
	_ = os.RemoveAll(dir)
	os.Exit(status)
}
