package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can/socketcan"
)

func TestBus_ParseRate(t *testing.T) {
	for text, want := range map[string]int{"250k": 250_000, "500000": 500_000, "0.5M": 500_000, "": 0, "83.333k": 83_333} {
		got, err := parseRate(text)
		require.NoError(t, err, text)
		require.Equal(t, want, got, text)
	}
	for _, text := range []string{"k", "250 k", "-250k", "2M", "NaN", "Infk", "1e9", "250x", strings.Repeat("9", 1000), "0"} {
		_, err := parseRate(text)
		require.ErrorContains(t, err, "for example 250k", text)
	}
}

// TestBus_Advice: each state of a controller has what to look at; one that is fit has nothing.
func TestBus_Advice(t *testing.T) {
	fit := socketcan.Health{Name: "can0", Kind: "can", Up: true, BitRate: 250_000, State: "error-active"}
	require.Empty(t, advice(fit))
	for says, change := range map[string]func(*socketcan.Health){
		"bus up can0":     func(h *socketcan.Health) { h.Up = false },
		"terminator":      func(h *socketcan.Health) { h.State = "bus-off" },
		"acknowledges":    func(h *socketcan.Health) { h.State, h.TxErrors = "error-passive", 128 },
		"garbled":         func(h *socketcan.Health) { h.State, h.RxErrors = "error-passive", 128 },
		"being counted":   func(h *socketcan.Health) { h.State = "error-warning" },
		"J1939 runs at":   func(h *socketcan.Health) { h.BitRate = 125_000 },
		"bus up can0 --b": func(h *socketcan.Health) { h.Up = false },
	} {
		h := fit
		change(&h)
		require.Contains(t, advice(h), says)
	}
}

func TestBus_NoSuchInterface(t *testing.T) {
	for _, args := range [][]string{{"bus", "show", "can77"}, {"bus", "up", "can77"}, {"bus", "down", "can77"},
		{"bus", "up", "lo"}, {"bus", "show", "../etc"}} {
		require.Contains(t, must(t, exitBus, args...), args[2])
	}
	must(t, exitDone, "bus", "show")
}
