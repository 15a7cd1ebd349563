// Package shop takes a unit through the shop: it comes in with a complaint and fault codes, the strip-down shows what
// failed, and it leaves on a pass with a certificate. It says in words what a visit holds, holds the vehicle and the
// bench before and after against each other, and scores the causes that were named against what was found.
//
// What happened is kept by bench/record; runs are made by bench/session. It prints nothing and reads no clock.
package shop
