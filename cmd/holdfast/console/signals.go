package console

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

// Signals turns the first Ctrl-C, SIGTERM or SIGHUP into an orderly end and the second into an immediate
// one; Ctrl-\ is immediate at once. A reader of our output that goes away ends nothing. A hang-up that the
// program was started to ignore (nohup) stays ignored.
func Signals(ctx context.Context) (orderly, atOnce context.Context, restore func()) {
	orderly, end := context.WithCancel(ctx)
	atOnce, endNow := context.WithCancel(ctx)
	heard := make(chan os.Signal, 4)
	signal.Notify(heard, os.Interrupt, syscall.SIGTERM, syscall.SIGQUIT)
	if !signal.Ignored(syscall.SIGHUP) {
		signal.Notify(heard, syscall.SIGHUP)
	}
	signal.Ignore(syscall.SIGPIPE)
	done := make(chan struct{})
	go func() {
		for first := true; ; first = false {
			select {
			case s := <-heard:
				end()
				if !first || s == syscall.SIGQUIT {
					endNow()
				}
			case <-done:
				return
			}
		}
	}()
	return orderly, atOnce, func() {
		signal.Stop(heard)
		close(done)
		end()
		endNow()
	}
}
