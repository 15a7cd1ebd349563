package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"holdfast/bench/interlock"
	"holdfast/bench/record"
	"holdfast/j1939/can"
	"holdfast/j1939/diag"
	"holdfast/j1939/node"
)

// clearedFile is where what was cleared is kept: one JSON object a line, in the folder of the runs.
const clearedFile = "cleared-faults.jsonl"

// cleared is one line of it.
type cleared struct {
	Time    time.Time   `json:"time"`
	Bus     string      `json:"bus"`
	Address uint8       `json:"address"`
	NAME    string      `json:"name,omitempty"`
	VIN     string      `json:"vin,omitempty"`
	Request string      `json:"request"`
	Answer  string      `json:"answer"`
	Before  []shownList `json:"before"`
	After   []shownList `json:"after"`
}

// afterClearing is how long the lists are listened to after a clear: DM1 comes once a second.
const afterClearing = 2500 * time.Millisecond

// clear asks for each controller that has codes, and clears them.
func (s *survey) clear(ctx context.Context, port can.Port, o *faultsOptions, in io.Reader, out,
	errOut io.Writer) error {
	var only []uint8
	for _, text := range o.addresses {
		a, err := parseAddress(text)
		if err != nil {
			return withStatus(exitUsage, err)
		}
		only = append(only, a)
	}
	p, err := s.askFaults(ctx, port, o, errOut)
	if err != nil {
		return err
	}
	answers, failed, asked := bufio.NewReader(in), 0, 0
	for _, c := range withFaults(s.shown(p.Node().Address()), o) {
		if len(only) > 0 && !slices.Contains(only, c.Address) || !hasCodes(&c, o.previous) {
			continue
		}
		asked++
		fmt.Fprintf(out, "address %d (0x%02X): %s\n%s", c.Address, c.Address, orUnnamed(c.Words), c.faultLines())
		if !o.yes && !confirmed(answers, errOut) {
			fmt.Fprintln(out, "not cleared")
			continue
		}
		ok, err := s.clearOne(ctx, p, &c, o, out)
		if err != nil {
			return err
		}
		if !ok {
			failed++
		}
	}
	switch {
	case asked == 0:
		fmt.Fprintln(out, "no codes to clear were heard")
	case failed > 0:
		return withStatus(exitFail, fmt.Errorf("%d of %d controllers did not clear", failed, asked))
	}
	return nil
}

func hasCodes(c *shownController, previous bool) bool {
	for _, list := range c.Faults {
		if len(list.Codes) > 0 && (list.PGN == diag.DM1 || previous && list.PGN == diag.DM2) {
			return true
		}
	}
	return false
}

// confirmed: what is not a clear yes is a no.
func confirmed(in *bufio.Reader, out io.Writer) bool {
	fmt.Fprint(out, "Was the repair done, and shall these codes be cleared? Type yes: ")
	answer, err := in.ReadString('\n')
	return (err == nil || errors.Is(err, io.EOF)) && strings.EqualFold(strings.TrimSpace(answer), "yes")
}

// clearOne clears one controller. An engine may have been started while the person was thinking, so the bus
// is listened to again first.
func (s *survey) clearOne(ctx context.Context, p *participant, c *shownController, o *faultsOptions,
	out io.Writer) (ok bool, err error) {
	if err := p.Run(ctx, p.Now().Add(interlock.VehicleListen), nil); err != nil {
		return false, withStatus(exitBus, err)
	}
	if err := p.refuseVehicle(); err != nil {
		return false, err
	}
	requests := []struct {
		pgn  uint32
		name string
	}{{diag.DM11, "DM11, clear active codes"}, {diag.DM3, "DM3, clear previously active codes"}}
	if !o.previous {
		requests = requests[:1]
	}
	ok = true
	var entries []cleared
	for _, r := range requests {
		q, err := p.ask(ctx, r.pgn, c.Address)
		if err != nil {
			return false, errors.Join(err, keepCleared(entries))
		}
		good := q.End() == node.Told && q.Control == node.ACK
		ok = ok && good
		fmt.Fprintf(out, "    %s: %s\n", r.name, q)
		e := cleared{Time: p.Now().Time(), Bus: o.from, Address: c.Address, NAME: c.NAME, Request: r.name,
			Answer: q.String(), Before: c.Faults}
		if k := s.known[c.Address]; k != nil && k.identity.Vehicle != nil {
			e.VIN = k.identity.Vehicle.VIN.String()
		}
		entries = append(entries, e)
	}
	s.known[c.Address].faults = map[uint32]*diag.Faults{}
	if err := p.Run(ctx, p.Now().Add(afterClearing), nil); err != nil {
		return false, errors.Join(withStatus(exitBus, err), keepCleared(entries))
	}
	after := s.known[c.Address].lists()
	for i := range entries {
		entries[i].After = after
	}
	shown := shownController{Faults: after}
	fmt.Fprintf(out, "    now:\n%s", shown.faultLines())
	return ok, keepCleared(entries)
}

// keepCleared appends to the file before anything else is cleared.
func keepCleared(entries []cleared) error {
	if len(entries) == 0 {
		return nil
	}
	runs, err := record.DefaultOut()
	if err != nil {
		return withStatus(exitInternal, err)
	}
	if err := os.MkdirAll(filepath.Dir(runs), 0o755); err != nil {
		return withStatus(exitInternal, fmt.Errorf("keep what was cleared: %w", err))
	}
	path := filepath.Join(filepath.Dir(runs), clearedFile)
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o644)
	if err != nil {
		return withStatus(exitInternal, fmt.Errorf("keep what was cleared: %w", err))
	}
	for _, e := range entries {
		line, failed := json.Marshal(e)
		if failed == nil {
			_, failed = f.Write(append(line, '\n'))
		}
		err = errors.Join(err, failed)
	}
	err = errors.Join(err, f.Sync(), f.Close())
	if err != nil {
		return withStatus(exitInternal, fmt.Errorf("keep what was cleared in %s: %w", path, err))
	}
	return nil
}
