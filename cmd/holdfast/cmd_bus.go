package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"holdfast/j1939/can"
	"holdfast/j1939/can/socketcan"
)

func newBusCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "bus",
		Short: "Show, set up and take down CAN interfaces",
		Long: `Shows the state of this computer's CAN interfaces and their controllers, and sets them up.
J1939 runs at 250 kbit/s, newer vehicles at 500 kbit/s. Setting up needs root or CAP_NET_ADMIN.` + exitHelp,
	}
	cmd.AddCommand(newBusShowCommand(), newBusUpCommand(), newBusDownCommand())
	return onlyGroup(cmd)
}

func newBusShowCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "show [INTERFACE]",
		Short: "Show interfaces, their controllers' state and error counters",
		Long: `Shows each CAN interface: up or down, bit rate, the state of its controller with both error counters
(ISO 11898-1: 96 warning, 128 error-passive, 256 bus-off), frames and losses since it was made, and what to
look at when something is wrong.

Status 6 when the interface that was named is not fit for a run.` + exitHelp,
		Example: "  holdfast bus show\n  holdfast bus show can0",
		Args:    cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runBusShow(args, cmd.OutOrStdout())
		},
	}
}

func runBusShow(args []string, out io.Writer) error {
	names := args
	if len(args) == 0 {
		all, err := socketcan.Interfaces()
		if err != nil {
			return withStatus(exitBus, err)
		}
		for _, i := range all {
			names = append(names, i.Name)
		}
	}
	if len(names) == 0 {
		fmt.Fprintln(out, "This computer has no CAN interface: plug in an adapter that SocketCAN supports.")
		return nil
	}
	fit := true
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "INTERFACE\tKIND\tLINK\tBIT RATE\tCONTROLLER\tTX ERR\tRX ERR\t"+
		"RECEIVED\tSENT\tDROPPED\tERRORS\tLOOK AT")
	for _, name := range names {
		h, err := socketcan.Inspect(name)
		if err != nil {
			return withStatus(statusOfPort(err), err)
		}
		wrong := advice(h)
		fit = fit && wrong == ""
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%d\t%d\t%d\t%d\t%d\t%d\t%s\n", h.Name, h.Kind, linkInWords(h),
			rateInWords(h.BitRate), controllerInWords(h), h.TxErrors, h.RxErrors, h.Received, h.Sent, h.Dropped, h.Errors, wrong)
	}
	if err := t.Flush(); err != nil {
		return withStatus(exitInternal, err)
	}
	if len(args) > 0 && !fit {
		return withStatus(exitBus, nil)
	}
	return nil
}

// statusOfPort: an interface that is not there is a matter of the bus, as it is for run.
func statusOfPort(err error) int {
	if errors.Is(err, can.ErrMissing) || errors.Is(err, can.ErrDown) {
		return exitBus
	}
	return exitInternal
}

func linkInWords(h socketcan.Health) string {
	if h.Up {
		return "up"
	}
	return "down"
}

func rateInWords(rate int) string {
	switch {
	case rate == 0:
		return "-"
	case rate%1000 == 0:
		return fmt.Sprintf("%d kbit/s", rate/1000)
	}
	return fmt.Sprintf("%d bit/s", rate)
}

func controllerInWords(h socketcan.Health) string {
	words := []string{orDash(h.State)}
	if h.ListenOnly {
		words = append(words, "listen-only")
	}
	if h.BusOffs > 0 {
		words = append(words, fmt.Sprintf("bus-off %d times", h.BusOffs))
	}
	if h.Restart > 0 {
		words = append(words, "restarts after "+h.Restart.String())
	}
	return strings.Join(words, ", ")
}

// advice says what to look at; "" when the interface is fit for a run.
func advice(h socketcan.Health) string {
	switch {
	case !h.Up && h.Kind == "can":
		return "holdfast bus up " + h.Name + " --bitrate 250k"
	case !h.Up:
		return "holdfast bus up " + h.Name
	case h.State == "bus-off":
		return "a short, a missing terminator or a wrong bit rate; then holdfast bus up " + h.Name
	case h.State == "error-passive" && h.TxErrors >= h.RxErrors:
		return "nobody acknowledges: is anything else on the bus, on, and at this bit rate?"
	case h.State == "error-passive":
		return "what is heard is garbled: wrong bit rate, or a missing terminator"
	case h.State == "error-warning":
		return "errors are being counted: terminators, cable, bit rate"
	case h.Kind == "can" && h.BitRate != 250_000 && h.BitRate != 500_000:
		return "J1939 runs at 250 kbit/s or 500 kbit/s"
	}
	return ""
}

func newBusUpCommand() *cobra.Command {
	var rate string
	var listen bool
	var restart time.Duration
	cmd := &cobra.Command{
		Use:   "up INTERFACE [--bitrate 250k] [--listen-only]",
		Short: "Set a controller up and bring its interface up",
		Long: `Takes the interface down, sets bit rate, listen-only mode and the restart after bus-off, and brings
it up. With --listen-only the controller sends nothing at all, not even acknowledgements: the way to listen
on a vehicle. A run needs it off.` + exitHelp,
		Example: "  holdfast bus up can0 --bitrate 250k\n  holdfast bus up can0 --bitrate 500k --listen-only",
		Args:    wants("INTERFACE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			bits, err := parseRate(rate)
			if err != nil {
				return withStatus(exitUsage, err)
			}
			if restart < 0 {
				return withStatus(exitUsage, fmt.Errorf("--restart %v: write 0 or more, for example 100ms", restart))
			}
			s := socketcan.Settings{BitRate: bits, ListenOnly: listen, Restart: restart}
			if err := socketcan.BringUp(args[0], s); err != nil {
				return withStatus(exitBus, err)
			}
			return runBusShow(args, cmd.OutOrStdout())
		},
	}
	cmd.Flags().StringVar(&rate, "bitrate", "", "bit rate, as 250k or 250000; left as it is when not given")
	cmd.Flags().BoolVar(&listen, "listen-only", false, "send nothing at all")
	cmd.Flags().DurationVar(&restart, "restart", 100*time.Millisecond,
		"restart this long after bus-off; 0: stay off")
	return cmd
}

// parseRate reads 250k, 0.5M or 250000; nothing is 0.
func parseRate(text string) (int, error) {
	if text == "" {
		return 0, nil
	}
	number, factor := text, 1.0
	switch text[len(text)-1] {
	case 'k', 'K':
		number, factor = text[:len(text)-1], 1e3
	case 'M':
		number, factor = text[:len(text)-1], 1e6
	}
	v, err := strconv.ParseFloat(number, 64)
	bits := v * factor
	if err != nil || !(bits >= 10e3 && bits <= 1e6) || bits != math.Trunc(bits) {
		return 0, fmt.Errorf("--bitrate %.40q: write 10k to 1M, for example 250k", text)
	}
	return int(bits), nil
}

func newBusDownCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "down INTERFACE",
		Short:   "Take an interface down",
		Long:    "Takes the interface down: its controller leaves the bus. Needs root or CAP_NET_ADMIN." + exitHelp,
		Example: "  holdfast bus down can0",
		Args:    wants("INTERFACE"),
		RunE: func(_ *cobra.Command, args []string) error {
			if err := socketcan.TakeDown(args[0]); err != nil {
				return withStatus(exitBus, err)
			}
			return nil
		},
	}
}
