// Package alarm is the rules that a person writes for a watch, such as "doser pressure < 8 bar for 5 s while dosing":
// reads them with every mistake at its line, and says when each is raised and when it ends.
package alarm
