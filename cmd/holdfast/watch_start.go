package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"

	"golang.org/x/term"

	"holdfast/bench/watch"
	"holdfast/j1939/clock"
)

// watchInterface listens on an interface until it is told to end.
func watchInterface(ctx context.Context, o watchOptions, name string, limits watch.Options,
	attach *attachment, out, errOut io.Writer) error {
	if o.summary {
		return withStatus(exitUsage, fmt.Errorf("--summary is for recordings; what was heard on %s is "+
			"summed up at the end", name))
	}
	l := &live{name: name, attach: attach, keyOff: o.untilKeyOff, until: clock.Never}
	length, err := o.length()
	if err != nil {
		return err
	}
	if l.alarms, err = loadAlarms(o.alarms); err != nil {
		return err
	}
	log := newLog(errOut, o.level).With().Str("bus", name).Logger()
	source, err := openEar(name, o.quiet, o.find, &log)
	if err != nil {
		return err
	}
	defer source.Close()
	l.source, l.guard.silent, l.log = source, source.silent, log
	if length > 0 {
		l.until = source.Now().Add(length)
	}
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM)
	defer stop()
	return logged(&log, errOut, runLive(ctx, o, l, limits, name+", "+source.words, out, errOut))
}

// length is what --for says; 0 when it was not given.
func (o *watchOptions) length() (time.Duration, error) {
	if o.forTime == "" {
		return 0, nil
	}
	d, err := time.ParseDuration(o.forTime)
	if err != nil || d <= 0 {
		return 0, withStatus(exitUsage, fmt.Errorf("--for %s: write a time such as 30m, 90s or 12h",
			o.forTime))
	}
	return d, nil
}

func loadAlarms(path string) (watch.Alarms, error) {
	if path == "" {
		return nil, nil
	}
	text, err := readBounded(path)
	if err != nil {
		return nil, badInput(err)
	}
	alarms, err := watch.ParseAlarms(path, text)
	return alarms, badInput(err)
}

// runLive watches with a face and files as the options say, and prints what was found at the end.
func runLive(ctx context.Context, o watchOptions, l *live, limits watch.Options, head string,
	out, errOut io.Writer) error {
	l.face = o.face(head, out)
	l.watcher = watch.New(limits, l.tell)
	if err := l.keepIn(o); err != nil {
		l.face.end()
		return withStatus(exitUsage, err)
	}
	err := l.run(ctx)
	s := l.finish()
	l.logEnd(s)
	if o.json {
		if failed := json.NewEncoder(out).Encode(s); failed != nil {
			return withStatus(exitInternal, failed)
		}
	} else {
		fmt.Fprint(out, "\n"+summaryText(s, out))
	}
	// The person has ended the watch, which ended ctx; keeping it is part of the watch.
	attached := l.attach.keep(context.WithoutCancel(ctx), s, sideOf(o.json, out, errOut), errOut)
	if err == nil && l.failure != nil {
		err = withStatus(exitInternal, l.failure)
	}
	return errors.Join(err, attached)
}

// face chooses how a live watch shows itself.
func (o *watchOptions) face(head string, out io.Writer) face {
	switch {
	case o.json:
		return watchObjects{json.NewEncoder(out)}
	case isTerminal(out):
		return newWatchScreen(out, head, func() (int, int) {
			width, height, err := term.GetSize(int(out.(*os.File).Fd()))
			if err != nil {
				return 80, 24
			}
			return width, height
		})
	default:
		return watchLines{out}
	}
}

// keepIn opens the files of --keep, and says so when the watch before was cut off.
func (l *live) keepIn(o watchOptions) error {
	if o.keep == "" {
		return nil
	}
	if o.keepMB < 1 || o.keepMB > 4096 || o.keepFiles < 2 || o.keepFiles > 10_000 {
		return fmt.Errorf("--keep-mb is 1 to 4096 and --keep-files 2 to 10000")
	}
	events, before, err := watch.OpenEventLog(o.keep)
	if err != nil {
		return err
	}
	l.events = events
	if l.record, err = watch.NewRecorder(o.keep, l.name, int64(o.keepMB)<<20, o.keepFiles); err != nil {
		return err
	}
	if before.Unfinished {
		return l.resume(o.keep, before)
	}
	return nil
}
