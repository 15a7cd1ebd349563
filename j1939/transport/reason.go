package transport

import "fmt"

// Reason is why a conversation was aborted: byte 2 of an abort. Numbers and meanings as in Linux
// include/net/can/j1939 and the table of J1939-21 and ISO 11783-3 that it follows; 1 to 3 are in
// every edition, and a receiver takes any number.
type Reason uint8

const (
	ReasonNone            Reason = 0
	AlreadyInSession      Reason = 1
	ResourcesNeeded       Reason = 2
	Timeout               Reason = 3
	ClearWhileSending     Reason = 4 // CTS received while data is being transferred
	RetransmitLimit       Reason = 5
	UnexpectedData        Reason = 6
	BadSequence           Reason = 7
	DuplicateSequence     Reason = 8
	SizeAboveTransport    Reason = 9 // TP
	UnexpectedOffset      Reason = 9 // ETP: DPO that nobody asked for
	OffsetGroupDiffers    Reason = 10
	OffsetPacketsAbove    Reason = 11 // DPO announces more packets than the CTS allowed
	BadOffset             Reason = 12
	ClearGroupDiffers     Reason = 14
	ClearPacketsAboveSize Reason = 15
	OtherReason           Reason = 250
)

var reasonNames = map[Reason]string{
	AlreadyInSession:      "already in a session",
	ResourcesNeeded:       "resources needed elsewhere",
	Timeout:               "timeout",
	ClearWhileSending:     "clear to send received during the transfer",
	RetransmitLimit:       "retransmit limit reached",
	UnexpectedData:        "unexpected data packet",
	BadSequence:           "bad sequence number",
	DuplicateSequence:     "duplicate sequence number",
	SizeAboveTransport:    "size above 1785, or unexpected data packet offset",
	OffsetGroupDiffers:    "data packet offset names another PGN",
	OffsetPacketsAbove:    "data packet offset announces more packets than allowed",
	BadOffset:             "bad data packet offset",
	13:                    "other reason (deprecated)",
	ClearGroupDiffers:     "clear to send names another PGN",
	ClearPacketsAboveSize: "clear to send asks for more packets than there are",
	OtherReason:           "any other reason",
}

// String is the reason in words with its number: "timeout (3)".
func (r Reason) String() string {
	if r == ReasonNone {
		return "none"
	}
	if name := reasonNames[r]; name != "" {
		return fmt.Sprintf("%s (%d)", name, uint8(r))
	}
	return fmt.Sprintf("reserved reason (%d)", uint8(r))
}
