// Package spn is the catalogue of J1939 parameter groups (PGN) and suspect parameters (SPN) a
// DEF bench needs, and the codec between their raw bits and numbers: SAE J1939-71 (transmitted
// signal ranges, scaling) and the numbers of the digital annex J1939DA as open projects state them.
//
// The tables stand in data/ as text, each row with its sources and its confidence; the code
// only reads them. A number is given for a Valid raw value alone: not available, error
// indicator and reserved stay words. Scaling is exact: the decimal that the standard
// means, not its nearest sum of floats.
//
// It does not reassemble messages (transport), read fault lists (diag) or NAMEs (name).
// data/SOURCES.md explains the source tags and names what was changed against them.
package spn
