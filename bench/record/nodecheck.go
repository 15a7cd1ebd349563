package record

import (
	"context"
	"time"
)

// NodeNote is a trial of a bench's I/O node as the book keeps it: what was looked at over the bus, and what came of it.
type NodeNote struct {
	Rig       string     `json:"rig"`
	RigHash   string     `json:"rig_sha256"` // of the rig file's bytes: another file was not tried
	Simulated bool       `json:"simulated,omitempty"`
	Began     time.Time  `json:"began"`
	Good      bool       `json:"good"`
	Items     []NodeItem `json:"items"`
}

// NodeItem is one thing that was looked at: good, BAD or not tested.
type NodeItem struct {
	What   string `json:"what"`
	State  string `json:"state"`
	Found  string `json:"found"`
	Wanted string `json:"wanted,omitempty"`
}

// AddNodeCheck enters a trial of a node into the book.
func (s *Store) AddNodeCheck(ctx context.Context, n NodeNote, by string, now time.Time) error {
	return s.write(ctx, &Note{Kind: NoteNode, Time: now, By: by, Node: &n}, always)
}
