package rigfile

import (
	"time"

	"holdfast/bench/yamltext"
)

// longestVerify is the longest interval between two checks with a golden unit that still is one.
const longestVerify = 366 * 24 * time.Hour

// verifyEvery reads how often the bench must be held against a golden unit; left out: no demand.
func (p *parsing) verifyEvery(f *yamltext.Fields) {
	if n := f.Get("verify_every"); n != nil {
		p.rig.VerifyEvery = f.Duration("verify_every", longestVerify, "12 h")
	}
}
