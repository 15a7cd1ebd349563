// Package capture reads and writes recordings of CAN traffic.
//
// Reader is the twin of a bus that ends: a can.Source over
//   - text of candump (can-utils): the log form "(seconds.fraction) can0 18FEEE00#A1B2" with or without
//     its time stamp, and the form for people "can0  18FEEE00   [2]  A1 B2";
//   - classic pcap, either byte order, micro- or nanoseconds (draft-ietf-opsawg-pcap);
//   - pcapng, either byte order, several sections and interfaces (draft-ietf-opsawg-pcapng);
//   - ASAM MDF 4 with bus logging, from a file (package mdf);
//
// pcap and pcapng with link type 227, LINKTYPE_CAN_SOCKETCAN
// (https://www.tcpdump.org/linktypes/LINKTYPE_CAN_SOCKETCAN.html). Memory is bounded (a few
// hundred KiB whatever the file's length) and no frame allocates.
//
// What is in a recording and is not classic CAN (comments, CAN FD, CAN XL, other link types) is skipped and
// counted; what cannot be understood is skipped and counted too, and its first places are kept for a warning
// (Reader.Malformed). A recording that ends inside a record, as after a power cut, ends there
// with such a warning. Only a binary recording whose structure is broken in the middle is an error.
//
// Writer writes pcapng with nanoseconds, Rotation in one file after another, and Tap records what passes through a port.
//
// What it does not do: CAN FD payloads, Linux cooked captures (link types 113 and 276), compressed
// files, hardware clocks, or replay at the recording's own pace.
package capture
