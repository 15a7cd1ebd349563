package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"holdfast/bench/judge"
	"holdfast/bench/record"
	"holdfast/bench/report"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/bench/session"
	"holdfast/bench/shop"
	"holdfast/cmd/holdfast/console"
	"holdfast/cmd/holdfast/lies"
	"holdfast/cmd/holdfast/oplog"
	"holdfast/sim/lie"
)

// openRun opens the bus first: a bus that is not there leaves no empty record behind. What the run logs goes over the
// screen, which never holds it up.
func openRun(ctx context.Context, o runOptions, plan *scenario.Plan, r *rig.Rig, screen *console.Screen,
	errOut io.Writer) (*session.Run, error) {
	store, err := outFolder(o.out)
	if err != nil {
		return nil, withStatus(exitUsage, err)
	}
	told, err := lies.ParseAll(lies.Table(r), o.lies)
	if err != nil {
		return nil, withStatus(exitUsage, fmt.Errorf("--lie: %w", err))
	}
	port, err := openBus(o, r)
	if err != nil {
		return nil, err
	}
	c := session.Config{Store: store, Serial: o.serial, UnitHours: o.unitHours, Plan: plan, Rig: r, Bus: o.bus,
		By: person(o.by), Simulated: simulatedBus(o.bus), VirtualTime: virtualTime(o.bus) && !o.realTime, Version: version, Now: now,
		Log: oplog.New(screen, oplog.Options{Level: o.level.Level, Terminal: console.IsTerminal(errOut), Colour: oplog.Colour(), Now: now})}
	c.Seed, c.Faults = o.simulated(port)
	c.Lies = toldBy(port)
	if len(told) > 0 {
		c.Lies, port = append(c.Lies, o.lies...), lie.Port(port, lie.New(told, port.Now(), c.Seed))
	}
	run, err := session.Open(ctx, c, port)
	if err != nil {
		return nil, withStatus(exitUsage, err)
	}
	if v := run.Visit; v != nil {
		fmt.Fprintf(errOut, "visit %s of %s: the run belongs to it\n", v.ID, v.Opened.Format(shop.Minute))
	}
	return run, nil
}

// perform takes an open run to its end before the person at the terminal, and puts it away. The result is nil when
// the record cannot be read.
func perform(ctx context.Context, run *session.Run, plan *scenario.Plan, asker *console.Asker, screen *console.Screen,
	errOut io.Writer) (*judge.Result, int) {
	orderly, atOnce, restore := console.Signals(ctx)
	defer restore()
	shown := console.NewProgress(screen, console.IsTerminal(errOut), console.Width(errOut), plan)
	person := session.Person{Progress: shown.Show, AtOnce: atOnce}
	if asker != nil {
		person.Asker = asker
	}
	outcome, failed, unrecorded := run.Perform(orderly, person)
	shown.End()
	shown.LastWord(outcome)
	result, err := run.Judge()
	if err == nil {
		err = run.PutAway(context.WithoutCancel(ctx), result)
	} else {
		result = nil
	}
	if err = errors.Join(failed, unrecorded, err); err != nil {
		fmt.Fprintf(screen, "holdfast: %v\n", err)
	}
	fmt.Fprintln(screen, recordLine+run.Folder.Path)
	screen.Flush()
	return result, statusOfRun(outcome, result, err == nil)
}

// printResult prints a result as a table, or as result.json has it.
func printResult(out io.Writer, result *judge.Result, asJSON bool) error {
	if !asJSON {
		return report.Table(out, result, console.Width(out), console.IsTerminal(out))
	}
	text, err := record.ResultText(result)
	if err == nil {
		_, err = out.Write(text)
	}
	return err
}
