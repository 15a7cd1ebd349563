//go:build !linux

package main

// askPriority grants nothing here.
func askPriority() string { return "no real-time priority: it needs Linux" }
