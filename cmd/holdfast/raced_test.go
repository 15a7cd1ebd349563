//go:build race

package main

const raced = true // the race detector makes a run ten times slower
