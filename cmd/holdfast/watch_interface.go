package main

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/rs/zerolog"

	"holdfast/j1939/can"
	"holdfast/j1939/can/controller"
	"holdfast/j1939/can/socketcan"
)

// J1939 knows two bit rates: 250 kbit/s (J1939-11, -15) and 500 kbit/s (J1939-14).
var j1939BitRates = []int{250_000, 500_000}

// ear is an interface to listen on, with what is known of how quietly it listens.
type ear struct {
	can.Source
	words  string // for the screen: "listen-only, 250 kbit/s"
	silent bool   // the controller sends no bit at all
}

// openEar opens an interface for listening and says what that costs the vehicle. quiet asks for
// listen-only mode even where the interface is up, and fails where it is not granted; find tries both bit
// rates.
func openEar(name string, quiet, find bool, log *zerolog.Logger) (*ear, error) {
	state, err := controller.Read(name)
	if err != nil {
		return openPlain(name, log) // a kernel without the settings, or no such interface: its error says more
	}
	if quiet || find || !state.Up {
		if err := askListenOnly(state, find, log); err != nil && (quiet || find || !state.Up) {
			return nil, withStatus(exitBus, err)
		}
		if state, err = controller.Read(name); err != nil {
			return nil, withStatus(exitBus, err)
		}
	}
	if err := mayListen(state); err != nil {
		return nil, withStatus(exitBus, err)
	}
	source, err := socketcan.Listen(name, socketcan.Options{})
	if err != nil {
		return nil, withStatus(exitBus, err)
	}
	sayQuiet(log, state)
	return &ear{Source: source, words: quietShort(state), silent: state.ListenOnly}, nil
}

func openPlain(name string, log *zerolog.Logger) (*ear, error) {
	source, err := openListener(name)
	if errors.Is(err, can.ErrMissing) {
		return nil, withStatus(exitBus, fmt.Errorf("%s is neither a recording nor a CAN interface: %w",
			name, err))
	}
	if err != nil {
		return nil, withStatus(exitBus, err)
	}
	if _, ok := unixPath(name); ok {
		log.Info().Msg("a bus between processes of this computer; holdfast itself sends nothing")
		return &ear{Source: source, words: "between processes"}, nil
	}
	log.Warn().Msg("whether the interface is in listen-only mode cannot be read; holdfast itself sends nothing")
	return &ear{Source: source, words: "mode unknown"}, nil
}

// mayListen refuses a controller that would acknowledge frames, or break them, at a rate that J1939 does
// not have.
func mayListen(s controller.State) error {
	if s.Virtual || s.ListenOnly || slices.Contains(j1939BitRates, s.BitRate) {
		return nil
	}
	return fmt.Errorf("%s is not in listen-only mode and runs at %d bit/s, which is no rate of J1939 "+
		"(250 000 or 500 000): on a vehicle it would answer every frame with an error. Set it: %s",
		s.Name, s.BitRate, setCommand(s.Name, 250_000))
}

func setCommand(name string, rate int) string {
	return fmt.Sprintf("ip link set %[1]s down; ip link set %[1]s up type can bitrate %[2]d listen-only on",
		name, rate)
}

// sayQuiet logs what listening costs the vehicle.
func sayQuiet(log *zerolog.Logger, s controller.State) {
	switch {
	case s.Virtual:
		log.Info().Msg("a virtual interface has no listen-only mode; holdfast itself sends nothing")
	case s.ListenOnly:
		log.Info().Int("bit_rate", s.BitRate).Msg("listen-only, granted by the kernel: the controller sends no bit, not " +
			"even an acknowledgement")
	default:
		log.Warn().Int("bit_rate", s.BitRate).Msgf("NOT listen-only: holdfast sends nothing, but the controller "+
			"acknowledges what others send. --listen-only asks for it, or: %s", setCommand(s.Name, s.BitRate))
	}
}

func quietShort(s controller.State) string {
	switch {
	case s.Virtual:
		return "virtual"
	case s.ListenOnly:
		return fmt.Sprintf("listen-only, %d kbit/s", s.BitRate/1000)
	default:
		return fmt.Sprintf("NOT listen-only, %d kbit/s", s.BitRate/1000)
	}
}

// askListenOnly asks the kernel, and says what came of it.
func askListenOnly(s controller.State, find bool, log *zerolog.Logger) error {
	if s.Virtual {
		if find {
			return fmt.Errorf("%s is virtual: it has no bit rate to find", s.Name)
		}
		return fmt.Errorf("%s is virtual: it has no listen-only mode; leave --listen-only out", s.Name)
	}
	if find {
		return findBitRate(s.Name, log)
	}
	if s.BitRate == 0 {
		return fmt.Errorf("%s has no bit rate: --find-bitrate finds it by listening, or: %s", s.Name,
			setCommand(s.Name, 250_000))
	}
	if err := controller.Listen(s.Name, 0); err != nil {
		return fmt.Errorf("listen-only mode was refused: %w", err)
	}
	return nil
}

// trialFor is how long each bit rate is listened to. A running vehicle says hundreds of frames in it.
const trialFor = 2 * time.Second

// findBitRate tries both rates of J1939 in listen-only mode, so that a wrong one disturbs nobody.
func findBitRate(name string, log *zerolog.Logger) error {
	for _, rate := range j1939BitRates {
		if err := controller.Listen(name, rate); err != nil {
			return fmt.Errorf("try %d bit/s: %w", rate, err)
		}
		heard, bad, err := trial(name)
		if err != nil {
			return fmt.Errorf("try %d bit/s: %w", rate, err)
		}
		log.Info().Int("bit_rate", rate).Int("frames", heard).Int("bus_errors", bad).Msg("bit rate tried, listening only")
		if heard > 0 && bad <= heard/10 {
			return nil
		}
	}
	return fmt.Errorf("%s: neither 250 000 nor 500 000 bit/s gave frames: key on? wired to the bus? "+
		"another rate?", name)
}

func trial(name string) (heard, bad int, err error) {
	source, err := socketcan.Listen(name, socketcan.Options{})
	if err != nil {
		return 0, 0, err
	}
	defer source.Close()
	frames := make([]can.Frame, 256)
	for end := source.Now().Add(trialFor); source.Now() < end; {
		n, err := source.Receive(frames, end)
		if err != nil {
			return heard, bad, err
		}
		for i := range frames[:n] {
			if frames[i].Error {
				bad++
			} else {
				heard++
			}
		}
	}
	return heard, bad, nil
}
