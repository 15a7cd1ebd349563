// Package seal makes a set of files proof against tampering: a statement names each file with its size
// and hash (SHA-256, FIPS 180-4) and is signed (Ed25519, RFC 8032). Verify finds every changed byte of a
// sealed file, to within one piece of it, and every file that is missing or was never sealed.
//
// The statement NAME.seal.json and the signature NAME.seal.sig (base64 of the 64 bytes over the
// statement's bytes) are plain files, so that other programs can check them:
//
//	openssl pkeyutl -verify -pubin -inkey signing.pub -rawin -in run.seal.json -sigfile <(base64 -d run.seal.sig)
//
// What a seal proves: the files are as they were when the holder of the key sealed them. It does not prove
// who that was, nor the time, nor that what was recorded is true; whoever holds the key can seal anything.
// It reads no clock and keeps no key in memory longer than it is asked to.
package seal
