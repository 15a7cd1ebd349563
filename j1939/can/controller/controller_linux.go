package controller

import (
	"errors"
	"fmt"

	"go.einride.tech/can/pkg/candevice"
	"golang.org/x/sys/unix"
)

// Read tells how an interface is set.
func Read(name string) (State, error) {
	d, err := candevice.New(name)
	if err != nil {
		return State{}, fmt.Errorf("read the settings of %s: %w", name, err)
	}
	info, err := d.Info()
	if err != nil {
		return State{}, fmt.Errorf("read the settings of %s: %w", name, err)
	}
	up, err := d.IsUp()
	if err != nil {
		return State{}, fmt.Errorf("read the settings of %s: %w", name, err)
	}
	return State{Name: name, Virtual: info.Type != candevice.CanLinkType, Up: up,
		BitRate:    int(info.BitTiming.Bitrate),
		ListenOnly: info.CtrlMode.Flags&unix.CAN_CTRLMODE_LISTENONLY != 0}, nil
}

// Listen takes the interface down, sets listen-only mode and the bit rate (bit/s; 0 leaves it) and brings
// it up again. The error wraps ErrNotAllowed or ErrNotSupported where that is the reason; the interface is
// then left as it was, as far as the kernel lets us.
func Listen(name string, bitRate int) error {
	before, err := Read(name)
	if err != nil {
		return err
	}
	if before.Virtual {
		return fmt.Errorf("set %s listen-only: %w: it is virtual", name, ErrNotSupported)
	}
	if err := listen(name, bitRate, before.Up); err != nil {
		return fmt.Errorf("set %s listen-only: %w", name, reason(err))
	}
	after, err := Read(name)
	if err == nil && !after.ListenOnly {
		err = fmt.Errorf("set %s listen-only: %w: the kernel took the setting and dropped it", name,
			ErrNotSupported)
	}
	return err
}

func listen(name string, bitRate int, up bool) error {
	d, err := candevice.New(name)
	if err != nil {
		return err
	}
	if up {
		if err := d.SetDown(); err != nil {
			return err
		}
	}
	set := d.SetListenOnlyMode(true)
	if set == nil && bitRate > 0 {
		set = d.SetBitrate(uint32(bitRate))
	}
	if set != nil && !up {
		return set
	}
	return errors.Join(set, d.SetUp())
}

// reason names what the kernel's error means.
func reason(err error) error {
	switch {
	case errors.Is(err, unix.EPERM), errors.Is(err, unix.EACCES):
		return fmt.Errorf("%w: %w", ErrNotAllowed, err)
	case errors.Is(err, unix.EOPNOTSUPP):
		return fmt.Errorf("%w: %w", ErrNotSupported, err)
	}
	return err
}
