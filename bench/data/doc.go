// Package data hands out what was recorded, for other programs: samples, results and decoded bus signals
// as rows, written as Apache Parquet (any engine that reads Parquet can query many machines' files at
// once) or CSV (RFC 4180). Times are UTC: in Parquet as timestamps in microseconds, in CSV as RFC 3339.
//
// What is no valid value is NULL (CSV: empty), never a number. It decides nothing, and it reads no clock.
package data
