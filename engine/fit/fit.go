// Package fit looks at whether a book and a register of vehicles go together: kinds that no
// task or rule asks for, tasks and rules that apply to no vehicle, tags that no vehicle has.
// None of it is a fault, and each is likely a slip that silently leaves work out: so each is
// a question. It is pure.
package fit

import (
	"math"

	"gopkg.in/yaml.v3"

	"telltale/engine/event"
	"telltale/rules"
	"telltale/rules/applies"
	"telltale/rules/source"
	"telltale/rules/word"
)

// Register is a register of vehicles and the file that it was read from.
type Register struct {
	Events []event.Event
	File   *source.Document // where it stands; nil: questions have no line to show
	Root   *yaml.Node
}

// ReadRegister is the register with its file's text, which was read without a fault.
func ReadRegister(name string, text []byte, events []event.Event) *Register {
	d, root := source.ReadRegister(name, text)
	return &Register{Events: events, File: d, Root: root}
}

// vehicle is one that is in use.
type vehicle struct {
	key   string
	of    word.Vehicle
	comps []word.Component
	reg   *event.VehicleData
}

// vehicles are those in use; a capacity that nobody gave is 0.
func (r *Register) vehicles() (out []vehicle) {
	for _, ev := range r.Events {
		d, ok := ev.Data.(*event.VehicleData)
		if !ok || d.Retired {
			continue
		}
		v := vehicle{key: ev.Vehicle, of: word.Vehicle{Key: ev.Vehicle, Name: d.Name, Kind: d.Kind, Tags: d.Tags}, reg: d}
		for _, c := range d.Components {
			wc := word.Component{Name: c.Name, Kind: c.Kind, Fluid: c.Fluid}
			if litres := event.Litres(c.Capacity); !math.IsNaN(litres) {
				wc.Capacity = litres
			}
			v.comps = append(v.comps, wc)
		}
		out = append(out, v)
	}
	return out
}

// at is the fault of what stands in the register under those keys: at the value, or at
// the last key where the value is more than a text.
func (r *Register) at(hint, text string, keys ...string) source.Fault {
	n, value := r.Root, r.Root
	for _, key := range keys {
		n, value = child(value, key)
	}
	if r.File == nil || n == nil {
		return source.Fault{Text: text, Hint: hint, Width: 1}
	}
	if value.Kind == yaml.ScalarNode {
		n = value
	}
	return r.File.NewFault(n, hint, "%s", text)
}

func child(n *yaml.Node, name string) (key, value *yaml.Node) {
	if n == nil || n.Kind != yaml.MappingNode {
		return nil, nil
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == name {
			return n.Content[i], n.Content[i+1]
		}
	}
	return nil, nil
}

// reader asks one book and one register.
type reader struct {
	book     *rules.Book
	judge    *rules.Judge
	finder   *applies.Finder
	register *Register
	vehicles []vehicle
	asked    []rules.Asked
	found    source.Faults
	notes    source.Faults
}

// Questions are what of the book and the register does not go together, in order of place.
// Notes are what applies to nobody and is no slip if the fleet simply has none such, as
// a chapter's part on diesel engines. A register without vehicles raises neither.
func Questions(book *rules.Book, reg *Register) (questions, notes []source.Fault) {
	r := &reader{book: book, judge: rules.NewJudge(book), finder: applies.NewFinder(book), register: reg, vehicles: reg.vehicles(), asked: book.Asked()}
	if len(r.vehicles) == 0 {
		return nil, nil
	}
	r.componentKinds()
	r.nearMisses()
	r.without()
	r.idle()
	r.named()
	r.unmetered()
	r.nobody()
	if reg.File != nil {
		r.found = append(r.found, reg.File.Questions...)
	}
	r.tags()
	r.capacities()
	r.meters()
	return r.found.Sorted(), r.notes.Sorted()
}

// askedFor is what is asked of a field; its Texts are empty where nothing is.
func (r *reader) askedFor(field string) rules.Asked {
	for _, a := range r.asked {
		if a.Field == field {
			return a
		}
	}
	return rules.Asked{}
}
