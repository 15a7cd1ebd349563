package main

import (
	"fmt"
	"io"
	"os"

	"holdfast/j1939/dbc"
	"holdfast/j1939/trace"
)

// known collects what the person has told beside the recording.
func (o *decodeOptions) known(errOut io.Writer) (k trace.Known, err error) {
	for _, text := range o.conversions {
		if err := k.Conversions.Set(text); err != nil {
			return k, fmt.Errorf("--conversion: %w", err)
		}
	}
	if o.dbc == "" {
		return k, nil
	}
	text, err := readUpTo(o.dbc, dbc.MaxSize)
	if err != nil {
		return k, fmt.Errorf("--dbc: %w", err)
	}
	if k.Own, err = dbc.Parse(o.dbc, text); err != nil {
		return k, fmt.Errorf("--dbc: %w", err)
	}
	if n := k.Own.Standard; n > 0 {
		fmt.Fprintf(errOut, "%s: %d messages with 11-bit identifiers are not read\n", o.dbc, n)
	}
	return k, nil
}

// readUpTo reads a file that has at most limit bytes.
func readUpTo(path string, limit int64) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, limit+1))
	if err == nil && int64(len(text)) > limit {
		err = fmt.Errorf("%s: more than %d bytes", path, limit)
	}
	return text, err
}
