package main

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/rs/zerolog"

	"holdfast/cmd/holdfast/simbench"
	"holdfast/j1939/can/lockstep"
	"holdfast/j1939/clock"
	"holdfast/sim"
)

// serveLockstep is the simulated bench in lock-step: a new bench for each run that a harness makes on it.
func serveLockstep(ctx context.Context, o simOptions, path string, log *zerolog.Logger) error {
	if o.log != "" {
		return withStatus(exitUsage, errors.New("--log-outputs follows one bench; in lock-step each run has its own"))
	}
	if _, err := o.lockstepSetup(&lockstep.Setup{}); err != nil {
		return withStatus(exitUsage, err)
	}
	listener, err := lockstep.Listen(path)
	if err != nil {
		return withStatus(exitBus, err)
	}
	defer listener.Close()
	log.Info().Msg(benchIsThere)
	err = listener.Serve(ctx, o.makeWorld, func(err error) {
		if err != nil {
			log.Error().Err(err).Msg("a run ended badly")
			return
		}
		log.Info().Msg("a run ended")
	})
	if err != nil {
		return withStatus(exitBus, err)
	}
	return nil
}

// makeWorld is the bench of one run.
func (o *simOptions) makeWorld(start clock.Instant, asked *lockstep.Setup) (lockstep.World, *lockstep.Setup, error) {
	force, err := o.lockstepSetup(asked)
	if err != nil {
		return nil, nil, err
	}
	bench, err := sim.New(sim.Options{Seed: *force.Seed, Faults: force.Faults, Start: start,
		Controller: force.Unit == unitController})
	if err != nil {
		return nil, nil, err
	}
	process, err := o.lying(bench, start, *force.Seed, force.Unit)
	if err != nil {
		return nil, nil, err
	}
	return lockstep.OnWire(process, start, simbench.Bitrate), force, nil
}

// lieSetting is the setting by which a welcome says that instruments lie, so that the harness's record does; several
// are kept apart by liesApart, which no lie has in it.
const (
	lieSetting = "lie"
	liesApart  = "; "
)

// lockstepSetup is what was asked for over what the command line says.
func (o *simOptions) lockstepSetup(asked *lockstep.Setup) (*lockstep.Setup, error) {
	s := &lockstep.Setup{Name: "holdfast sim", Seed: &o.seed, Faults: o.faults.Map(), Unit: o.unit}
	if len(o.lies) > 0 {
		s.Set = map[string]string{lieSetting: strings.Join(o.lies, liesApart)}
	}
	if asked.Seed != nil {
		s.Seed = asked.Seed
	}
	if asked.Unit != "" {
		s.Unit = asked.Unit
	}
	for name, severity := range asked.Faults {
		if !slices.Contains(sim.FaultNames(), name) {
			return nil, fmt.Errorf("no fault is named %q", name)
		}
		if s.Faults == nil {
			s.Faults = map[string]float64{}
		}
		s.Faults[name] = severity
	}
	for _, key := range slices.Sorted(maps.Keys(asked.Set)) {
		return nil, fmt.Errorf("setting %q is not known: this bench has none", key)
	}
	return s, nil
}
