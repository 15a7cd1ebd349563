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
	"holdfast/bench/watch/alarm"
	"holdfast/bench/watch/live"
	"holdfast/cmd/holdfast/console"
	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// watchInterface listens on an interface until it is told to end.
func watchInterface(ctx context.Context, o watchOptions, name string, limits watch.Options,
	attach *attachment, out, errOut io.Writer) error {
	if o.summary {
		return withStatus(exitUsage, fmt.Errorf("--summary is for recordings; what was heard on %s is "+
			"summed up at the end", name))
	}
	if err := o.checkKeep(); err != nil {
		return err
	}
	length, err := o.length()
	if err != nil {
		return err
	}
	alarms, err := loadAlarms(o.alarms)
	if err != nil {
		return err
	}
	log := newLog(errOut, o.level).With().Str("bus", name).Logger()
	source, err := openEar(name, o.quiet, o.find, &log)
	if err != nil {
		return err
	}
	defer source.Close()
	l := live.Options{Name: name, Limits: limits, Alarms: alarms, Until: clock.Never, Silent: source.silent, Log: log}
	if length > 0 {
		l.Until = source.Now().Add(length)
	}
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM)
	defer stop()
	return logged(&log, errOut, runLive(ctx, o, source, l, attach, name+", "+source.words, out, errOut))
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

func loadAlarms(path string) (alarm.Rules, error) {
	if path == "" {
		return nil, nil
	}
	text, err := readBounded(path)
	if err != nil {
		return nil, badInput(err)
	}
	alarms, err := alarm.Parse(path, text)
	return alarms, badInput(err)
}

// runLive watches with a face and files as the options say, and prints what was found at the end.
func runLive(ctx context.Context, o watchOptions, source can.Source, l live.Options, attach *attachment, head string,
	out, errOut io.Writer) error {
	l.KeyOff, l.Keep, l.FileMB, l.Files = o.untilKeyOff, o.keep, o.keepMB, o.keepFiles
	l.Face, l.Tell = o.face(head, out), attach.tell
	w, err := live.New(source, l)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	if err = w.Run(ctx); err != nil {
		err = withStatus(exitBus, err)
	}
	s := w.Finish()
	if o.json {
		if failed := json.NewEncoder(out).Encode(s); failed != nil {
			return withStatus(exitInternal, failed)
		}
	} else {
		fmt.Fprint(out, "\n"+summaryText(s, out))
	}
	// The person has ended the watch, which ended ctx; keeping it is part of the watch.
	attached := attach.keep(context.WithoutCancel(ctx), s, sideOf(o.json, out, errOut), errOut)
	if failed := w.Failure(); err == nil && failed != nil {
		err = withStatus(exitInternal, failed)
	}
	return errors.Join(err, attached)
}

// face chooses how a live watch shows itself.
func (o *watchOptions) face(head string, out io.Writer) live.Face {
	switch {
	case o.json:
		return live.Objects{Out: json.NewEncoder(out)}
	case console.IsTerminal(out):
		return live.NewScreen(out, head, func() (int, int) {
			width, height, err := term.GetSize(int(out.(*os.File).Fd()))
			if err != nil {
				return 80, 24
			}
			return width, height
		})
	default:
		return live.Lines{Out: out}
	}
}

// checkKeep refuses sizes and numbers of files that make no sense.
func (o *watchOptions) checkKeep() error {
	if o.keep != "" && (o.keepMB < 1 || o.keepMB > 4096 || o.keepFiles < 2 || o.keepFiles > 10_000) {
		return withStatus(exitUsage, errors.New("--keep-mb is 1 to 4096 and --keep-files 2 to 10000"))
	}
	return nil
}
