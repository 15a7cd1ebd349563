package survey

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/clock"
	"holdfast/j1939/diag"
	"holdfast/j1939/ident"
	"holdfast/j1939/survey/surveytest"
	"holdfast/j1939/transport"
)

var epoch = clock.At(time.Date(2026, 11, 24, 8, 0, 0, 0, time.UTC))

func newBus() *virtual.Bus { return virtual.New(epoch, 250_000) }

// guard finds a vehicle alive from a time on; 0: never.
type guard struct{ from, now clock.Instant }

func (g *guard) Hear(f can.Frame) { g.now = f.Time }

func (g *guard) Alive() (string, bool) { return "the engine runs", g.from != 0 && g.now >= g.from }

func joinWith(bus *virtual.Bus, s *Survey, g Guard) (*Participant, error) {
	return Join(context.Background(), bus.Open("tool"), Options{Guard: g, Listen: 1100 * time.Millisecond, Identity: 7,
		Hear: s.Hear})
}

func joined(t *testing.T, bus *virtual.Bus, s *Survey) *Participant {
	t.Helper()
	p, err := joinWith(bus, s, &guard{})
	require.NoError(t, err)
	return p
}

var pumpFault = diag.Faults{DTCs: []diag.DTC{{SPN: 4334, FMI: 18, Count: 3, Version: diag.Version4}}}

// Identification by request, over RTS/CTS and broadcast, ends up in the list.
func TestScan_Identification(t *testing.T) {
	bus := newBus()
	bus.Attach(surveytest.NewECU(61, pumpFault))
	var s Survey
	p := joined(t, bus, &s)
	s.table = p.Node().Table()
	_, err := p.Ask(context.Background(), ident.PGNComponent, 255)
	require.NoError(t, err)
	all := s.Controllers(p.Node().Address())
	require.Len(t, all, 1)
	require.Contains(t, all[0].Text(), "component: make HOLDF, model SUPPLY UNIT, serial number HF-2041")
	require.Contains(t, all[0].Text(), "SPN 4334 FMI 18, 3 times")
}

// A controller with more codes than one broadcasts DM1 every second; asking for the other lists ends all the same,
// and shows them (on the lab's bus it did not end).
func TestFaults_AskedOfManyCodes(t *testing.T) {
	bus := newBus()
	bus.Attach(surveytest.Faulty())
	var s Survey
	began := bus.Now()
	p, w := joined(t, bus, &s), Wanted{Previous: true, Freeze: true}
	require.NoError(t, s.AskFaults(context.Background(), p, w))
	require.Less(t, bus.Now().Sub(began), 15*time.Second)
	all := WithFaults(s.Controllers(p.Node().Address()), w)
	require.Len(t, all, 1)
	lines := all[0].FaultLines()
	for _, want := range []string{"SPN 4334 FMI 18, 3 times", "SPN 4376 FMI 5, 1 time", "previously active",
		"SPN 1761 FMI 17, 2 times", "freeze frame of SPN 4334 FMI 18"} {
		require.Contains(t, lines, want)
	}
}

func TestAnswerText(t *testing.T) {
	m := transport.Message{PGN: ident.PGNComponent, Source: 61, Destination: 249,
		Data: []byte("HOLDF*SUPPLY UNIT*HF-2041**")}
	require.Contains(t, AnswerText(&m), "61 -> 249   65259  CI")
	require.Contains(t, AnswerText(&m), "HF-2041")
	m.Data = make([]byte, 2000)
	require.Contains(t, AnswerText(&m), "2000 bytes")
}

// A vehicle that is alive while the bus is listened to: nothing is sent. One that comes alive later ends the question,
// and nothing is cleared.
func TestParticipant_Vehicle(t *testing.T) {
	bus := newBus()
	bus.Attach(&surveytest.Engine{Raw: 5600})
	port := bus.Open("tool")
	_, err := Join(context.Background(), port, Options{Guard: &guard{from: epoch}, Listen: time.Second})
	require.ErrorIs(t, err, ErrVehicle)
	require.ErrorContains(t, err, "the engine runs")
	require.Zero(t, port.Stats().Sent)

	bus = newBus()
	unit := surveytest.NewECU(61, pumpFault)
	bus.Attach(unit)
	bus.Attach(&surveytest.Engine{})
	var s Survey
	p, err := joinWith(bus, &s, &guard{from: epoch.Add(10 * time.Second)})
	require.NoError(t, err)
	require.NoError(t, s.AskFaults(context.Background(), p, Wanted{}))
	c := s.Controllers(p.Node().Address())
	require.NoError(t, p.Run(context.Background(), epoch.Add(9500*time.Millisecond), nil))
	done, err := s.Clear(context.Background(), p, "can0", &c[0], false)
	require.ErrorIs(t, err, ErrVehicle)
	require.Empty(t, done)
	require.Zero(t, unit.Cleared)
}

// What was cleared is told with the codes before and after; a controller that refuses is told too.
func TestClear(t *testing.T) {
	for _, refuses := range []bool{false, true} {
		bus := newBus()
		unit := surveytest.Faulty()
		unit.Refuse = refuses
		bus.Attach(unit)
		var s Survey
		p, w := joined(t, bus, &s), Wanted{Previous: true, Vehicle: true}
		require.NoError(t, s.AskFaults(context.Background(), p, w))
		c := WithFaults(s.Controllers(p.Node().Address()), w)
		require.True(t, c[0].HasCodes(false))
		done, err := s.Clear(context.Background(), p, "can0", &c[0], true)
		require.NoError(t, err)
		require.Len(t, done, 2)
		for _, e := range done {
			require.Equal(t, !refuses, e.Good)
			require.Equal(t, "3HAMKSTN0FL575012", e.VIN)
			require.Len(t, e.Before[0].Codes, 2)
		}
		left := Controller{Faults: done[0].After}
		require.Equal(t, refuses, left.HasCodes(false))
	}
	var s Survey
	p := joined(t, newBus(), &s)
	_, err := s.Clear(context.Background(), p, "can0", &Controller{Address: 9}, false)
	require.ErrorContains(t, err, "address 9 has sent no trouble codes")
}

// A person who stops waiting is told apart from a bus that fails.
func TestAsk_Stopped(t *testing.T) {
	var s Survey
	p := joined(t, newBus(), &s)
	ctx, stop := context.WithCancelCause(context.Background())
	enough := errors.New("enough")
	stop(enough)
	_, err := p.Ask(ctx, ident.PGNComponent, 255)
	require.ErrorIs(t, err, enough)
	require.NotErrorIs(t, err, ErrBus)
}
