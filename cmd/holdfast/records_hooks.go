package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"holdfast/bench/judge"
	"holdfast/bench/record"
)

// beginRecord readies a new run's folder: the shop's own priors go into it, and the person hears which
// visit the run will belong to.
func beginRecord(ctx context.Context, out string, folder record.Folder, serial string,
	errOut io.Writer) error {
	store, err := record.OpenOut(out)
	if err != nil {
		return err
	}
	v, ok, err := store.OpenVisit(ctx, serial)
	if ok {
		fmt.Fprintf(errOut, "visit %s of %s: the run belongs to it\n", v.ID, v.Opened.Format(minute))
	}
	return errors.Join(err, store.KeepPriors(ctx, folder), store.Close())
}

// sealRecord seals a finished run.
func sealRecord(out string, folder record.Folder, res *judge.Result) error {
	_, err := record.SealRun(out, folder, res, now())
	return err
}
