package diag

import "fmt"

// AppendText appends the lamps and the codes on one line, each code with what it means.
func (f *Faults) AppendText(dst []byte) []byte {
	dst = append(dst, f.Lamps.String()...)
	if len(f.DTCs) == 0 {
		return append(dst, "; no fault"...)
	}
	for _, d := range f.DTCs {
		dst = append(append(dst, "; "...), d.String()...)
		if d.Count != CountNotAvailable {
			dst = fmt.Appendf(dst, " x%d", d.Count)
		}
		if d.Old() {
			dst = fmt.Appendf(dst, " (old form, read as version %d)", d.Version)
		}
		dst = fmt.Appendf(dst, " (%s)", d.Explain())
	}
	return dst
}
