package session

import "holdfast/j1939/can"

// closing counts how often a port is closed.
type closing struct {
	can.Port
	closed int
}

func (c *closing) Close() error {
	c.closed++
	return c.Port.Close()
}
