package oplog

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"
	"github.com/stretchr/testify/require"
)

func noon() time.Time {
	return time.Date(2026, 3, 4, 12, 0, 0, 500_000_000, time.FixedZone("", 3600))
}

// Without a terminal every line is one JSON object with level, time, message and fields; nothing a bus or a person
// says can break out of it.
func TestNew_JSON(t *testing.T) {
	var out bytes.Buffer
	log := New(&out, Options{Level: zerolog.InfoLevel, Now: noon}).With().Str("bus", "can0\x1b[2J\n").Logger()
	log.Debug().Msg("not wanted")
	log.Info().Int("frames", 3).Msg("listening")
	log.Warn().Msg("a second\nline")
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	require.Len(t, lines, 2)
	var first map[string]any
	require.NoError(t, json.Unmarshal([]byte(lines[0]), &first))
	require.Equal(t, map[string]any{"level": "info", "bus": "can0\x1b[2J\n", "frames": 3.0, "message": "listening",
		"time": "2026-03-04T11:00:00.500Z"}, first)
	require.NotContains(t, out.String(), "\x1b")
}

// On a terminal a line is read by a person: time in UTC, level, message, fields; and it moves no cursor.
func TestNew_Console(t *testing.T) {
	var out bytes.Buffer
	log := New(&out, Options{Level: zerolog.DebugLevel, Terminal: true, Now: noon})
	log.Warn().Str("bus", "can0\x1b[2J").Int("lost", 2).Msg("frames lost\x1b[2J")
	require.Equal(t, "11:00:00 WRN frames lost?[2J bus=\"can0\\x1b[2J\" lost=2\n", out.String())

	out.Reset()
	log = New(&out, Options{Level: zerolog.DebugLevel, Terminal: true, Colour: true, Now: noon})
	log.Error().Msg("bus lost")
	require.Contains(t, out.String(), "\x1b[")
	require.Contains(t, out.String(), "bus lost")
}

func TestLevel(t *testing.T) {
	for _, text := range []string{"debug", "info", "warn", "error", "off"} {
		var l Level
		require.NoError(t, l.Set(text))
		require.Equal(t, text, l.String())
		var out bytes.Buffer
		log := New(&out, Options{Level: l.Level, Now: noon})
		log.Error().Msg("x")
		require.Equal(t, text != "off", out.Len() > 0, text)
	}
	var l Level
	require.ErrorContains(t, l.Set("loud"), "debug, info, warn, error or off")
	require.ErrorContains(t, l.Set(""), "off")
}
