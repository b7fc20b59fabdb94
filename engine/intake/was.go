package intake

import (
	"fmt"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/rules/english"
	"telltale/rules/source"
)

// checkWas wants each earlier name once, and none that another of the list has now.
func checkWas(at string, n int, of func(i int) (name string, was []string)) error {
	now, past := map[string]bool{}, map[string]bool{}
	for i := range n {
		name, _ := of(i)
		now[name] = true
	}
	for i := range n {
		_, was := of(i)
		for k, w := range was {
			at := fmt.Sprintf("%s[%d].was[%d]", at, i, k)
			switch {
			case now[w]:
				return refuse(at, "%s is a present name", quote(w))
			case past[w]:
				return refuse(at, "%s is an earlier name of another one too", quote(w))
			}
			past[w] = true
		}
	}
	return nil
}

// checkVIN checks a vehicle identification number by ISO 3779 (from memory): 17
// characters, figures and the letters of which none is taken for a figure. The check
// digit is of North America alone, so it is not looked at.
func checkVIN(vin string) error {
	if vin == "" {
		return nil
	}
	for _, c := range strings.ToUpper(vin) {
		switch {
		case strings.ContainsRune("IOQ", c):
			return fmt.Errorf("a VIN has no %c; is it a %s?", c, map[rune]string{'I': "1", 'O': "0", 'Q': "0"}[c])
		case !(c >= '0' && c <= '9' || c >= 'A' && c <= 'Z'):
			return fmt.Errorf("a VIN has figures and the letters A to Z, not %s", quote(string(c)))
		}
	}
	if n := len(vin); n != 17 {
		return fmt.Errorf("a VIN has 17 characters, this one %d", n)
	}
	return nil
}

// namedNode is a name with its place in the file; of is what has or had it.
type namedNode struct {
	name, of string
	node     *yaml.Node
}

// earlierNames finds the clashes of names: of vehicles, and of each one's components and
// meters.
func (r *registerReader) earlierNames(vehicles []source.Pair) {
	r.noClash(vehicles, "vehicle", "a name stays with the vehicle that had it first: give both a key that no vehicle has had, and write the plates under `plate:`")
	for _, v := range vehicles {
		for _, list := range []struct{ key, what string }{{"components", "component"}, {"meters", "meter"}} {
			if n := childOf(v.Value, list.key); n != nil {
				r.noClash(pairsOf(n), list.what, "give both a name that neither has had")
			}
		}
	}
}

// noClash wants each earlier name once, and none that one of the list has now.
func (r *registerReader) noClash(list []source.Pair, what, swapped string) {
	now := map[string][]string{} // and what each was
	var past []namedNode
	for _, p := range list {
		now[p.Key.Value] = []string{}
		for _, w := range textsOf(childOf(p.Value, "was")) {
			now[p.Key.Value] = append(now[p.Key.Value], w.Value)
			past = append(past, namedNode{w.Value, p.Key.Value, w})
		}
	}
	for i, w := range past {
		theirs, present := now[w.name]
		first := slices.IndexFunc(past[:i], func(o namedNode) bool { return o.name == w.name })
		switch {
		case w.name == w.of:
			r.Fault(w.node, "leave it out: `was` is for earlier names", "%s is the present name of this %s", w.of, what)
		case present && slices.Contains(theirs, w.of):
			r.Fault(w.node, swapped, "%s and %s take each other's name", w.of, w.name)
		case present:
			r.Fault(w.node, fmt.Sprintf("if they are the same %s, take out the entry %s; if not, take out this `was`", what, w.name), "%s was %s, and there is still a %s %s", w.of, w.name, what, w.name)
		case first >= 0 && past[first].of != w.of:
			r.Fault(w.node, fmt.Sprintf("leave `was: %s` with the one whose history it is", w.name), "%s and %s were both %s", past[first].of, w.of, w.name)
		}
	}
}

// plates wants no plate and no VIN twice, however they are written.
func (r *registerReader) plates(vehicles []source.Pair) {
	for _, key := range []string{"plate", "vin"} {
		seen := map[string]namedNode{}
		for _, v := range vehicles {
			n := childOf(v.Value, key)
			if n == nil || n.Kind != yaml.ScalarNode {
				continue
			}
			if err := checkVIN(n.Value); key == "vin" && err != nil {
				r.Fault(n, "", "%s: %v", v.Key.Value, err)
			}
			folded := english.Folded(n.Value)
			if one, twice := seen[folded]; twice && folded != "" {
				r.Fault(n, fmt.Sprintf("%s has it in line %d", one.of, one.node.Line), "%s and %s have the same %s", one.of, v.Key.Value, map[string]string{"plate": "plate", "vin": "VIN"}[key])
				continue
			}
			seen[folded] = namedNode{n.Value, v.Key.Value, n}
		}
	}
}

// childOf is the value under a key of a mapping; nil where there is none. What is wrong
// with the mapping itself is found when the vehicle is read.
func childOf(n *yaml.Node, key string) *yaml.Node {
	for _, p := range pairsOf(n) {
		if p.Key.Value == key {
			return p.Value
		}
	}
	return nil
}

func pairsOf(n *yaml.Node) (out []source.Pair) {
	for k, v := range source.Pairs(n) {
		out = append(out, source.Pair{Key: k, Value: v})
	}
	return out
}

func textsOf(n *yaml.Node) (out []*yaml.Node) {
	for _, c := range source.Items(n) {
		if c.Kind == yaml.ScalarNode {
			out = append(out, c)
		}
	}
	return out
}
