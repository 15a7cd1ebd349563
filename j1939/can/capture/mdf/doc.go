// Package mdf reads the CAN frames of an ASAM MDF 4 file that holds bus logging (ASAM MDF 4.1 and the associated
// standard "Bus Logging"): channel groups of the bus type CAN whose records hold identifier, length, channel
// and data bytes. Sorted and unsorted files, data as plain, compressed (deflate, with and without transposition)
// and listed blocks, data bytes in the record or as signal data of variable length, and files that the logger never
// finalised (counters and the length of the last data block not filled in) are read.
//
// Memory is bounded whatever the file's length: blocks of metadata up to a limit, one compressed block at a time,
// and the frames of an unsorted file whose data bytes have not come yet.
//
// What it does not do: MDF 3, column-oriented blocks (MDF 4.2), LIN, FlexRay or Ethernet groups, CAN FD payloads
// (counted, as other captures count them), and writing. The block layout is from memory of the standard's published
// overview and was checked against recordings that a reader written apart had converted.
package mdf
