package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/characteristic"
)

// A shell that asks for the rest of a word gets the characteristics of the registry.
func TestCompletion_Characteristics(t *testing.T) {
	answer := strings.Fields(must(t, exitDone, "__complete", "trend", "p"))
	for _, name := range characteristic.Names() {
		require.Equal(t, strings.HasPrefix(name, "p"), strings.Contains(strings.Join(answer, " "), name), name)
	}
}
