package rigfile

import (
	"fmt"
	"slices"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/yamltext"
)

// counterEvery is how often a node's counter is expected where the database does not say.
const counterEvery = 100 * time.Millisecond

// counters reads the node's own counters: which message's instruments were read anew, and which command it has taken
// over last. Both may be left out: a node need not send them.
func (p *parsing) counters(f *yamltext.Fields) {
	if n := f.Get("instrument_counters"); n != nil {
		if n.Kind != yamltext.Map {
			p.Fields(n, "instrument_counters")
			return
		}
		for _, e := range n.Entries {
			p.counter(e)
		}
	}
	if n := f.Get("command_echo"); n != nil {
		if s, ok := p.lone("command_echo", n); ok {
			p.rig.Echo = &s.Signal
		}
	}
}

func (p *parsing) counter(e yamltext.Entry) {
	names := make([]string, rig.NumChannels)
	for i := range names {
		names[i] = rig.Channel(i).String()
	}
	i := slices.Index(names, e.Key)
	if i < 0 {
		p.AddAt(e.Line, e.Column, fmt.Sprintf("no channel is called %q", yamltext.Clip(e.Key)), yamltext.DidYouMean(e.Key, names))
		return
	}
	if p.rig.Channels[i] == nil {
		if p.OK() { // a channel with a mistake of its own is not mapped either
			p.AddAt(e.Line, e.Column, fmt.Sprintf("instrument_counters: %s is not mapped", e.Key), "name a channel of this bench")
		}
		return
	}
	if s, ok := p.lone(e.Key, e.Value); ok {
		every := time.Duration(s.cycleMs * float64(time.Millisecond))
		if every <= 0 || every > slowest {
			every = counterEvery
		}
		p.rig.Counters = append(p.rig.Counters, rig.Counter{Channel: rig.Channel(i), Every: every, Signal: s.Signal})
	}
}

// lone reads a signal without a unit that stands alone behind its key.
func (p *parsing) lone(key string, n *yamltext.Node) (found, bool) {
	s, ok := p.signal(p.Fields(&yamltext.Node{Kind: yamltext.Map, Line: n.Line, Column: n.Column,
		Entries: []yamltext.Entry{{Key: "signal", Line: n.Line, Column: n.Column, Value: n}}}, key))
	if ok && s.unit != "" {
		p.Add(n, fmt.Sprintf("%s carries %s", s.Name, s.unit), "a counter has no unit")
		return s, false
	}
	return s, ok
}
