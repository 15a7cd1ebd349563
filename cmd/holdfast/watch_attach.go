package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"holdfast/bench/record"
	"holdfast/bench/report"
	"holdfast/bench/watch"
)

// attachOptions say to which unit's visit a watch belongs.
type attachOptions struct {
	serial, stage, by, out string
}

func (o *attachOptions) addFlags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.stage, "attach", "", "keep the summary with the unit's visit: before (it is taken out) or "+
		"after (it was fitted again)")
	f.StringVar(&o.serial, "serial", "", "serial number of the unit, for --attach")
	addByFlag(cmd, &o.by)
	addOutFlag(cmd, &o.out)
}

// attachment keeps a watch with a visit when it is over. nil keeps nothing.
type attachment struct {
	attachOptions
	stage  record.Stage
	events eventPage
}

// open finds the visit before anybody drives for an hour: a watch that belongs nowhere is refused at once.
func (o *attachOptions) open(ctx context.Context, errOut io.Writer) (*attachment, error) {
	if o.stage == "" && o.serial == "" && o.by == "" && o.out == "" {
		return nil, nil
	}
	if o.stage == "" || strings.TrimSpace(o.serial) == "" {
		return nil, withStatus(exitUsage, errors.New("--attach before|after and --serial belong together: "+
			"the watch is kept with that unit's visit (--by and --out say who and where)"))
	}
	stage, err := record.ParseStage(o.stage)
	if err != nil {
		return nil, withStatus(exitUsage, fmt.Errorf("--attach %w", err))
	}
	a := &attachment{attachOptions: *o, stage: stage}
	return a, withRecords(ctx, o.out, errOut, func(s *record.Store, _ string) error {
		_, err := s.WatchVisit(ctx, o.serial, stage)
		return err
	})
}

// tell keeps an event for the visit.
func (a *attachment) tell(e watch.Event) {
	if a != nil {
		a.events.add(e)
	}
}

// keep enters what was found into the visit, and says so.
func (a *attachment) keep(ctx context.Context, sum *watch.Summary, out, errOut io.Writer) error {
	if a == nil {
		return nil
	}
	if sum.Frames == 0 {
		return withStatus(exitUsage, errors.New("not attached: no frame was heard"))
	}
	return withRecords(ctx, a.out, errOut, func(s *record.Store, _ string) error {
		v, c, err := s.KeepWatch(ctx, record.Watched{Serial: a.serial, Stage: a.stage, Summary: sum,
			Events: a.events.text(), By: person(a.by), Now: now(), Version: version})
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(out, "attached to visit %s of %s: vehicle %s, %s (%s)\n", v.ID,
			report.Plain(a.serial), c.Stage, c.Level, c.Folder)
		return err
	})
}

// maxPage bounds the events that are kept with a visit, in bytes: some tens of thousands.
const maxPage = 8 << 20

// eventPage is events as JSON lines; beyond maxPage they are only counted.
type eventPage struct {
	lines  bytes.Buffer
	beyond int
}

func (p *eventPage) add(e watch.Event) {
	line, err := json.Marshal(e)
	if err != nil || p.lines.Len()+len(line) > maxPage {
		p.beyond++
		return
	}
	p.lines.Write(line)
	p.lines.WriteByte('\n')
}

func (p *eventPage) text() []byte {
	if p.beyond == 0 {
		return p.lines.Bytes()
	}
	return fmt.Appendf(p.lines.Bytes(), "{\"kind\":\"not-kept\",\"text\":\"%d more events\"}\n", p.beyond)
}
