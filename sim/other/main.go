// Other is a second simulated bench and unit, written apart from the one in sim: other physics, other
// numerics, other instruments. It speaks the lock-step bus, so that whatever Holdfast concludes can be held
// against a truth that Holdfast's own simulator had no part in. It is never used to tune anything.
//
//	go run ./sim/other lockstep:/tmp/other &
//	holdfast run release --rig bench-node --bus lockstep:/tmp/other --serial X --yes
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"net"
	"os"
	"os/signal"
	"strings"
	"sync"
	"syscall"

	"holdfast/sim/other/plant"
)

func main() {
	if err := start(os.Args[1:], os.Stdin, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "other:", err)
		os.Exit(2)
	}
}

func start(args []string, in io.Reader, out io.Writer) error {
	ask := asked{seed: 1, kind: "reference", spread: true}
	flags := flag.NewFlagSet("other", flag.ContinueOnError)
	flags.Usage = func() {
		fmt.Fprintf(flags.Output(), "usage: other [flags] lockstep:PATH | pipe\n\nserves runs until it is stopped; pipe is one run in "+
			"the time of a node that asks on standard input\n\n")
		flags.PrintDefaults()
		fmt.Fprintf(flags.Output(), "\nfaults: %s\n", strings.Join(plant.Faults(), " "))
	}
	flags.Func("seed", "draws unit and instruments", func(v string) error { return ask.set("seed", v) })
	flags.Func("fault", "NAME=SEVERITY, repeatable", func(v string) error { return ask.set("fault", v) })
	flags.Func("set", "KEY=VALUE: type, spread, tank, room", func(v string) error { return ask.set("set", v) })
	flags.StringVar(&ask.dump, "log", "", "write what was really there to FILE.SEED.csv, every 10 ms")
	if err := flags.Parse(args); err != nil {
		if errors.Is(err, flag.ErrHelp) {
			return nil
		}
		return err
	}
	path, lockstep := strings.CutPrefix(flags.Arg(0), "lockstep:")
	switch {
	case flags.NArg() == 1 && flags.Arg(0) == "pipe":
		return pipe(ask, in, out)
	case flags.NArg() == 1 && lockstep && path != "":
		return listen(ask, path)
	}
	flags.Usage()
	return errors.New("expected lockstep:PATH or pipe")
}

// listen serves run after run, several at once, until it is told to stop; what is still running is cut off
// then.
func listen(ask asked, path string) error {
	l, err := net.Listen("unix", path)
	if err != nil {
		return err
	}
	ctx, done := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer done()
	context.AfterFunc(ctx, func() { _ = l.Close() })
	var running sync.WaitGroup
	defer running.Wait()
	for {
		conn, err := l.Accept()
		if errors.Is(err, net.ErrClosed) {
			return nil
		}
		if err != nil {
			return err
		}
		running.Go(func() {
			stop := context.AfterFunc(ctx, func() { _ = conn.Close() })
			defer stop()
			defer conn.Close()
			err := serve(ask, conn)
			if err != nil && !errors.Is(err, io.EOF) && ctx.Err() == nil {
				fmt.Fprintln(os.Stderr, "other:", err)
			}
		})
	}
}
