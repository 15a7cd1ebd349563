// Package name reads and writes the 64-bit NAME of a controller, SAE J1939-81, and says its fields in words.
//
//	bits  63  62..60  59..56  55..49  48  47..40    39..35    34..32  31..21        20..0
//	      AAC industry  system  vehicle  0  function  function  ECU     manufacturer  identity
//	          group   instance system               instance  inst.   code          number
//
// It is sent least significant byte first, in PGN 60928. Between two NAMEs the lower number wins an address.
//
// Layout as in python-can-j1939, go-j1939, AgIsoStack++ and others, which agree (one notebook that reads the
// ECU instance from the upper three bits of byte 5 was rejected, 1 against 6). The names of functions are
// those of the list in a public Java catalogue of the standard's table, checked against the four known from
// other sources; functions of 128 and above depend on industry group and vehicle system and only
// those of trucks are here. Manufacturer codes stay numbers: the registry is not ours to copy, and no
// maker's name stands in this repository.
package name
