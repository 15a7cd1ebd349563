package main

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"holdfast/bench/record"
	"holdfast/j1939/can"
	"holdfast/j1939/diag"
	"holdfast/j1939/trace"
)

// faultsSeen collects the codes that a unit came in with: typed ones, then those read.
func faultsSeen(ctx context.Context, o intakeOptions) ([]record.FaultSeen, error) {
	var all []record.FaultSeen
	for _, text := range o.faults {
		f, err := parseFault(text)
		if err != nil {
			return nil, withStatus(exitUsage, err)
		}
		all = append(all, f)
	}
	if o.from == "" {
		return all, nil
	}
	read, err := readFaults(ctx, o)
	return append(all, read...), err
}

// parseFault reads SPN/FMI or SPN/FMI/COUNT.
func parseFault(text string) (record.FaultSeen, error) {
	f := record.FaultSeen{Origin: "typed"}
	highest := [3]uint64{uint64(diag.MaxSPN), uint64(diag.MaxFMI), uint64(diag.CountMax)}
	parts := strings.Split(text, "/")
	numbers := make([]uint64, len(parts))
	for i, p := range parts {
		n, err := strconv.ParseUint(strings.TrimSpace(p), 10, 32)
		if err != nil || len(parts) < 2 || len(parts) > 3 || n > highest[min(i, 2)] {
			return f, fmt.Errorf("--fault %q: write SPN/FMI or SPN/FMI/COUNT, SPN to %d, FMI to %d, count "+
				"to %d",
				text, highest[0], highest[1], highest[2])
		}
		numbers[i] = n
	}
	f.SPN, f.FMI = uint32(numbers[0]), uint8(numbers[1])
	if len(numbers) == 3 {
		count := uint8(numbers[2])
		f.Count = &count
	}
	return f, nil
}

// readFaults reads DM1 and DM2 from a recording or, for a while, from an interface. Each code counts once
// for each source; active wins over previously active.
func readFaults(ctx context.Context, o intakeOptions) ([]record.FaultSeen, error) {
	source, live, err := openSource(o.from)
	if err != nil {
		return nil, err
	}
	defer source.Close()
	stream := trace.Replay
	if live {
		var stop context.CancelFunc
		ctx, stop = context.WithTimeout(ctx, o.listen)
		defer stop()
		stream = trace.Listen
	}
	c := codes{origin: o.from, place: map[codeKey]int{}}
	var d trace.Decoder
	err = stream(ctx, source, func(frames []can.Frame) error {
		d.Feed(frames, c.add)
		return nil
	})
	if errors.Is(err, context.DeadlineExceeded) {
		err = nil // the time to listen was over
	}
	return c.all, decodeStatus(err)
}

type codeKey struct {
	source uint8
	spn    uint32
	fmi    uint8
}

type codes struct {
	origin string
	all    []record.FaultSeen
	place  map[codeKey]int
}

func (c *codes) add(m *trace.Message) {
	if m.PGN != diag.DM1 && m.PGN != diag.DM2 {
		return
	}
	list, err := diag.Decode(m.Data)
	if err != nil {
		return // not a list of codes: nothing can be believed of it
	}
	active := m.PGN == diag.DM1
	for _, d := range list.DTCs {
		k := codeKey{m.Source, d.SPN, d.FMI}
		if i, known := c.place[k]; known {
			*c.all[i].Active = *c.all[i].Active || active
			continue
		}
		source, on := m.Source, active
		f := record.FaultSeen{Source: &source, SPN: d.SPN, FMI: d.FMI, Active: &on, Origin: c.origin}
		if d.Count != diag.CountNotAvailable {
			count := d.Count
			f.Count = &count
		}
		c.place[k] = len(c.all)
		c.all = append(c.all, f)
	}
}
