package disk

import "sync/atomic"

// Op is one kind of step that changes the disk.
type Op string

// The steps.
const (
	OpMkdir  Op = "make folder"
	OpCreate Op = "create"
	OpWrite  Op = "write"
	OpSync   Op = "sync"
	OpRename Op = "rename"
	OpFolder Op = "sync folder"
	OpRemove Op = "remove"
)

type hook func(op Op, path string) error

var injected atomic.Pointer[hook]

// Inject has f asked before every step, for tests of what a kill or a failing disk leaves behind; an error of
// f is returned in place of the step. It returns what takes f away again. It is one for the whole process.
func Inject(f func(op Op, path string) error) (restore func()) {
	h := hook(f)
	before := injected.Swap(&h)
	return func() { injected.Store(before) }
}

// step asks the injected function, if there is one.
func step(op Op, path string) error {
	if h := injected.Load(); h != nil {
		return (*h)(op, path)
	}
	return nil
}
