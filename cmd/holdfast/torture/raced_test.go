//go:build race

package torture

const raced = true // the race detector makes a run ten times slower
