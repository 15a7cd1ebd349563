// Package id composes and takes apart the 29-bit identifier of a J1939 frame and the
// parameter group number (PGN) in it: SAE J1939-21, PDU format.
//
//	bit  28..26    25   24   23........16  15.........8  7..........0
//	    priority  EDP   DP   PF            PS            source
//	     0..7     0/1   0/1  0..239: PDU1  destination   0..253, 254 none
//	                         240..255: PDU2 group extension
//
// PGN = EDP<<17 | DP<<16 | PF<<8 | (PS in PDU2, 0 in PDU1): 18 bits.
//
// It knows no parameter, no NAME and no transport session. With EDP and DP both 1 an
// identifier belongs to ISO 15765-3 and not to J1939; Foreign tells.
package id
