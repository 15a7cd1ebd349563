// Package controller is a supply unit's own J1939 controller, of our own invention: it listens to
// requests (PGN 61476), primes, builds and keeps the pressure by itself, doses, purges, and reports by
// PGN 61475, 64828, 64833 and 65110 and by DM1 as SAE J1939-71 and -73 lay them out (place, scale and
// states as the digital annex has them by public sources; frames are packed here by hand, independently
// of the harness).
//
// What a unit does in each state of SPN 4332 is its maker's choice. This one: 0 dormant, everything off;
// 12 primes and holds 3.5 bar; 1 primes and holds 9 bar without dosing; 2 the same and doses what is
// asked; 4 and 7 purge, 7 ends by itself in 11 after a minute; 9 and 10 stand still, pump off, and in 9
// the dosing valve follows the request. Frozen it reports 6 and heats before it pumps. Without a
// request for a second it goes dormant.
//
// It does not fight for its address: it claims it, answers requests for the claim, and stays.
package controller
