package scenariofile

import (
	"fmt"

	"holdfast/bench/scenario"
	"holdfast/bench/yamltext"
)

// AnswersFormat is the first key of a file of answers and its value.
const AnswersFormat = "answers/1"

// ReadAnswers reads a file that answers a plan's questions beforehand: what was seen and read off the
// meters, by the name of the characteristic. Everything wrong is returned at once as yamltext.Problems. A
// question that the file does not answer is one that nobody answers; an answer to no question is a problem.
func ReadAnswers(path string, text []byte, p *scenario.Plan) (map[string]string, error) {
	reader, root := yamltext.Read(path, text)
	if root == nil {
		return nil, reader.Problems().Err()
	}
	f := reader.Fields(root, "a file of answers")
	f.Word("holdfast", AnswersFormat)
	out := map[string]string{}
	if n := f.Need("answers", "{external_leak: no}"); n != nil {
		readEach(reader, n, p, out)
	}
	f.Done()
	if err := reader.Problems().Err(); err != nil {
		return nil, err
	}
	return out, nil
}

func readEach(r *yamltext.Reader, n *yamltext.Node, p *scenario.Plan, out map[string]string) {
	if n.Kind != yamltext.Map {
		r.Fields(n, "answers")
		return
	}
	var names []string
	for _, q := range p.Questions() {
		names = append(names, q.Name)
	}
	for _, e := range n.Entries {
		q := p.Asked(e.Key)
		switch {
		case q == nil && len(names) == 0:
			r.AddAt(e.Line, e.Column, fmt.Sprintf("an answer to %q", yamltext.Clip(e.Key)),
				"scenario "+p.Name+" asks nothing: leave the file out")
		case q == nil:
			r.AddAt(e.Line, e.Column, fmt.Sprintf("nothing asks for %q", yamltext.Clip(e.Key)),
				yamltext.DidYouMean(e.Key, names))
		case e.Value.Kind != yamltext.Text:
			r.Add(e.Value, e.Key+" without an answer", "write "+q.Answers())
		case e.Value.Text == scenario.CannotTellWord:
			out[e.Key] = scenario.CannotTellWord
		default:
			if _, err := q.Value(e.Value.Text); err != nil {
				r.Add(e.Value, e.Key+": "+err.Error(), "")
				continue
			}
			out[e.Key] = e.Value.Text
		}
	}
}
