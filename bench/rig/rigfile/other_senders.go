package rigfile

import (
	"fmt"

	"holdfast/bench/rig"
	"holdfast/bench/yamltext"
)

// mostOtherSenders bounds the list: a bus with more nodes than that is no bench.
const mostOtherSenders = 16

const otherSenderExample = "{address: 0x33, what: power supply}"

// otherSenders reads the list of nodes that the bench has beside those of its channels. Each must say what it is,
// so that nobody opens the guard for an address that was merely in the way.
func (p *parsing) otherSenders(f *yamltext.Fields) {
	n := f.Get("other_senders")
	if n == nil {
		return
	}
	if n.Kind != yamltext.List || len(n.Items) == 0 || len(n.Items) > mostOtherSenders {
		p.Add(n, "other_senders", fmt.Sprintf("write a list of 1 to %d, for example - %s", mostOtherSenders,
			otherSenderExample))
		return
	}
	for _, item := range n.Items {
		p.otherSender(item)
	}
}

func (p *parsing) otherSender(item *yamltext.Node) {
	if item.Kind != yamltext.Map {
		p.Add(item, "other_senders: "+yamltext.Clip(item.Text), "write "+otherSenderExample)
		return
	}
	f := p.Fields(item, "other_senders")
	address, ok := f.Whole("address", 0, lastAddress, "0x33")
	what := f.String("what", "power supply")
	f.Done()
	if !ok {
		return
	}
	o := rig.OtherSender{Address: uint8(address), What: what}
	if why := p.taken(o.Address); why != "" {
		p.Add(f.Get("address"), fmt.Sprintf("address: %d, %s", address, why), "name only who is not declared yet")
		return
	}
	p.rig.Others = append(p.rig.Others, o)
}

// taken says who has an address already.
func (p *parsing) taken(address uint8) string {
	switch address {
	case p.rig.Source:
		return "the same as our_address"
	case p.rig.Node:
		return "the same as node_address"
	}
	for _, o := range p.rig.Others {
		if o.Address == address {
			return "the same as that of " + yamltext.Clip(o.What)
		}
	}
	return ""
}
