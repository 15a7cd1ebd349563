// Package console is the person at the terminal: it shows a run while it goes on, asks what the scenario asks, takes
// Ctrl-C for what is meant by it, and never holds a run up, whatever the terminal does.
//
// It decides nothing about a run. It reads the clock only to draw and to wait for a terminal that takes nothing.
package console
