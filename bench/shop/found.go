package shop

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"holdfast/bench/cause"
	"holdfast/bench/yamltext"
)

// OtherCause is what was found when none of the named causes fits.
const OtherCause = "other"

// CheckFinding refuses a cause that nothing could be scored against, and "other" without a word on what it was.
func CheckFinding(name, remark string) error {
	names := append(cause.Names(), OtherCause)
	if !slices.Contains(names, name) {
		hint := "one of " + strings.Join(names, ", ")
		if near := yamltext.Near(name, names); near != "" {
			hint = "did you mean " + near + "?"
		}
		return fmt.Errorf("no cause is called %q; %s", name, hint)
	}
	if name == OtherCause && strings.TrimSpace(remark) == "" {
		return errors.New("cause \"other\" needs a --note that says what was found")
	}
	return nil
}
