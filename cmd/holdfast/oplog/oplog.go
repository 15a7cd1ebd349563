// Package oplog is the operational log of everything that runs long: what it works on, what went wrong, how it ended.
// It says how the program does, to whoever looks after it. What a unit did stands in the run's journal, which is
// sealed and stays what it is.
//
// On a terminal a line is for a person; under a service manager, or wherever standard error is no terminal, it is one
// JSON object, so that a program can read it.
package oplog

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"
	"unicode"

	"github.com/rs/zerolog"
	"github.com/spf13/pflag"
)

// Options say what is logged, and how.
type Options struct {
	Level    zerolog.Level
	Terminal bool // a person reads it there
	Colour   bool // on a terminal
	Now      func() time.Time
}

// timeFormat is RFC 3339 in UTC to the millisecond.
const timeFormat = "2006-01-02T15:04:05.000Z07:00"

// New returns a log that writes to out. Fields that every line of a program shares are added by With: run and bench
// (the rig) where a run is made, bus where one is listened to.
func New(out io.Writer, o Options) zerolog.Logger {
	if o.Terminal {
		out = zerolog.ConsoleWriter{Out: out, NoColor: !o.Colour, TimeFormat: time.TimeOnly, TimeLocation: time.UTC,
			FormatMessage: func(m any) string { return plain(fmt.Sprint(m)) }}
	}
	stamp := zerolog.HookFunc(func(e *zerolog.Event, _ zerolog.Level, _ string) {
		e.Str(zerolog.TimestampFieldName, o.Now().UTC().Format(timeFormat))
	})
	return zerolog.New(out).Level(o.Level).Hook(stamp)
}

// Colour reports whether a person wants colours: https://no-color.org.
func Colour() bool { return os.Getenv("NO_COLOR") == "" }

// plain keeps text that somebody else wrote from moving the cursor.
func plain(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) {
			return '?'
		}
		return r
	}, text)
}

// Level is the value of --log-level.
type Level struct{ zerolog.Level }

var _ pflag.Value = (*Level)(nil)

// levels are what can be asked for, from much to little.
var levels = []zerolog.Level{zerolog.DebugLevel, zerolog.InfoLevel, zerolog.WarnLevel, zerolog.ErrorLevel}

const off = "off"

// Set takes debug, info, warn, error or off.
func (l *Level) Set(text string) error {
	if text == off {
		l.Level = zerolog.Disabled
		return nil
	}
	for _, known := range levels {
		if known.String() == text {
			l.Level = known
			return nil
		}
	}
	return errors.New("write debug, info, warn, error or off")
}

// String returns the level as Set takes it.
func (l *Level) String() string {
	if l.Level == zerolog.Disabled {
		return off
	}
	return l.Level.String()
}

// Type names the value in the help text.
func (l *Level) Type() string { return "LEVEL" }
