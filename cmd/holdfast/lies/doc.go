// Package lies reads what a person types about lying instruments (--lie), by the channels and commands of a rig. What
// a lie does is in sim/lie.
package lies
