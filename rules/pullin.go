package rules

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"
	"gopkg.in/yaml.v3"
)

// pullIns reads the tasks that the rule's alarm asks for earlier than they are due.
func (rr *ruleReader) pullIns() {
	rr.eachStage("pull in", func(n *yaml.Node, stage int) {
		if n.Kind == yaml.MappingNode && len(n.Content) == 0 {
			rr.d.fault(n, "write {transmission fluid: {within: {distance: 5000 km}}}, or leave it out", "pull in of %s is empty", rr.what)
		}
		for _, f := range rr.d.entries(n, "pull in of "+rr.what) {
			rr.r.PullIns = append(rr.r.PullIns, rr.pullIn(f, stage))
		}
	})
	slices.SortStableFunc(rr.r.PullIns, func(a, b PullIn) int {
		return cmp.Or(strings.Compare(a.Task, b.Task), cmp.Compare(a.Stage, b.Stage))
	})
}

func (rr *ruleReader) pullIn(f field, stage int) PullIn {
	what := fmt.Sprintf("pull in %q", f.key.Value)
	p := PullIn{Task: f.key.Value, Stage: stage, at: rr.d.place(f.key), d: rr.d}
	m := rr.d.mapping(f.value, what, "within")
	switch within := m.get("within"); {
	case within != nil:
		p.Within = rr.d.limits(within, "within")
	case f.value.Kind == yaml.MappingNode:
		rr.d.fault(f.key, "write `within: {distance: 5000 km, time: 60 days}`: how far from what raised the alarm", "%s does not say by when", what)
	}
	return p
}

// pulledIn checks what rules pull in: tasks of the book, which some vehicle that the
// rule is kept for can have.
func (l *loader) pulledIn() {
	byName := map[string]*Task{}
	for _, t := range l.book.Tasks {
		byName[t.Name] = t
	}
	for _, r := range l.book.Rules {
		for _, p := range r.PullIns {
			t := byName[p.Task]
			switch {
			case t == nil && l.taskAt[p.Task] == (Place{}):
				l.add(p.d.makeFault(p.at.Line, p.at.Col, len(p.Task), l.didYouMean(p.Task, l.taskNames(), "name a task of this book"),
					fmt.Sprintf("rule %q pulls in %q, which is no task", r.Name, p.Task)))
			case t != nil && len(l.faults) == 0 && l.apart(r.Where, t.Where):
				l.add(p.d.makeFault(p.at.Line, p.at.Col, len(p.Task), "compare the two `where`",
					fmt.Sprintf("rule %q pulls in %q, but no vehicle or component matches both", r.Name, p.Task)))
			}
		}
	}
}

// apart reports whether no vehicle with its component can match both conditions.
// That is only said of conditions of which trying the values they name is proof.
func (l *loader) apart(a, b *Condition) bool {
	if !l.plain(a) || !l.plain(b) {
		return false
	}
	x := examples{j: NewJudge(l.book), left: exampleWork}
	_, _, found := x.find(a, b, l.comparands(a), l.comparands(b))
	return !found && x.left > 0
}

// plain reports whether the condition only asks whether fields are equal to texts
// that it names, so that what none of those texts brings about no text does.
func (l *loader) plain(c *Condition) bool {
	if c == nil {
		return true
	}
	n, err := parse(l.parser, c.Text)
	if err != nil {
		return false
	}
	v := plainly{all: true}
	ast.Walk(&n, &v)
	return v.all
}

type plainly struct{ all bool }

// Visit looks for anything else, as a number or a field compared with a field.
func (p *plainly) Visit(n *ast.Node) {
	switch t := (*n).(type) {
	case *ast.BinaryNode:
		_, left := fieldOf(t.Left)
		_, right := fieldOf(t.Right)
		switch t.Operator {
		case "&&", "||", "and", "or":
		case "==", "!=", "in":
			p.all = p.all && !(left && right)
		default:
			p.all = false
		}
	case *ast.UnaryNode:
		p.all = p.all && (t.Operator == "!" || t.Operator == "not")
	case *ast.MemberNode:
		if _, text := fieldOf(t); !text && t.String() != "vehicle.tags" {
			p.all = false // the capacity
		}
	case *ast.ArrayNode:
		p.all = p.all && !slices.ContainsFunc(t.Nodes, func(e ast.Node) bool { _, text := fieldOf(e); return text })
	case *ast.IdentifierNode, *ast.StringNode, *ast.BoolNode:
	default:
		p.all = false
	}
}
