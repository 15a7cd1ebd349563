// Package rig is the bench's I/O node as CAN messages: the frames of bench-node.dbc, encoded
// by hand and independently of the harness (a test holds the layout against the file), the
// reference instruments with their own errors, and the node's command time-out.
//
// It does not know what it measures (package sim gives it readings) and does nothing about
// bus errors: address 200 (C8h) is fixed, there is no address claim.
package rig
