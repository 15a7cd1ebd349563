// Package claim gets and keeps the address of a node, SAE J1939-81, and keeps the table of who is on the bus.
//
// Node claims a preferred address, waits 250 ms for objections, defends it against higher NAMEs, gives way to
// lower ones (moves when it is arbitrary address capable, says that it cannot claim otherwise), moves when it
// is commanded to, and answers requests for address claimed. Table remembers which NAME held which address
// and since when. Both are pure: stepped with frames and times, no clock, no socket.
//
// Sources: Linux Documentation/networking/j1939.rst, can-utils j1939acd, python-can-j1939. From memory: the
// delay of 0 to 153 ms before a cannot-claim message, and the range 128 to 247 for arbitrary addresses.
//
// What it does not do: reassemble the commanded address (9 bytes, so it comes by the transport protocol:
// package node hands it in), or remember an address from one power-up to the next.
package claim
