package people

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/parser"
	"github.com/expr-lang/expr/vm"

	"telltale/engine/alarm"
)

// scoped is an entry of tell as far as it says of what one person hears.
type scoped struct {
	Own    bool          `json:"own,omitempty"` // of vehicles that name the person
	Where  string        `json:"where,omitempty"`
	Stages []alarm.Stage `json:"stages,omitempty"`
	Never  bool          `json:"never,omitempty"`
}

// Scope says as a text of what a person hears, at once or in the list, for [ReadScope]. It goes
// with the turn of their list, so that each partition gives what the list is made of and no more,
// whoever people.yaml names when the turn is folded.
func (d *Directory) Scope(id string) string {
	list := []scoped{}
	for _, e := range d.entries {
		if theirs := slices.Contains(e.who, id); theirs || e.own {
			list = append(list, scoped{Own: !theirs, Where: e.text, Stages: e.stages, Never: e.when == never})
		}
	}
	text, err := json.Marshal(list)
	if err != nil {
		return "" // no text is no scope, and everything is listed
	}
	return string(text)
}

// ReadScope is a directory that knows the one person, who hears of what the scope says.
func ReadScope(id, text string) (*Directory, error) {
	var list []scoped
	if err := json.Unmarshal([]byte(text), &list); err != nil {
		return nil, fmt.Errorf("reading of what %q hears: %w", id, err)
	}
	p := &Person{ID: id, Name: id, Zone: time.UTC, To: map[string]string{Mail: id}}
	d := &Directory{people: map[string]*Person{id: p}}
	for _, s := range list {
		e := &entry{own: s.Own, stages: s.Stages, when: inDigest}
		if !s.Own {
			e.who = []string{id}
		}
		if s.Never {
			e.when = never
		}
		var err error
		if s.Where != "" {
			e.where, err = condition(s.Where)
		}
		if err != nil {
			return nil, fmt.Errorf("reading of what %q hears: %w", id, err)
		}
		d.entries = append(d.entries, e)
	}
	return d, nil
}

// condition compiles what people.yaml lets through.
func condition(text string) (*vm.Program, error) {
	tree, err := parser.Parse(text)
	if err != nil {
		return nil, err
	}
	g := &guard{}
	if ast.Walk(&tree.Node, g); g.refused != "" {
		return nil, errors.New(g.refused + " is not allowed here")
	}
	return compiled(text)
}

func compiled(text string) (*vm.Program, error) {
	return expr.Compile(text, expr.Env(env{}), expr.AsBool(), expr.Patch(otherNames{}))
}
