package form

import (
	"fmt"
	"slices"
	"strings"

	"telltale/engine/intake/typed"
	"telltale/notify/page"
	"telltale/rules/english"
)

// Field is a field of a form: what was typed into it, and what is wrong with that.
type Field struct {
	Name, Label string
	// Hint stands beside it: the last value, what is allowed.
	Hint string
	// Choices are what there is to choose among, in a list or to tick.
	Choices []Choice
	// Suggest are texts that are likely, of which one may be taken; any other may be typed.
	Suggest []string
	// Units are those to choose among, in a field of its own behind a number.
	Units []string
	// First and Last limit a day, as YYYY-MM-DD; "" is no limit.
	First, Last string
	// Reason is why it is limited, said with the fault of a day outside.
	Reason string
	// Needed: it must not be left empty. Missing is what is said then, where that is more
	// than that it is missing.
	Needed  bool
	Missing string

	form         *Form
	fault, doubt string // sentences
	before       string // what stands there until somebody types
}

// Choice is one of several.
type Choice struct{ Value, Label string }

// Text is what was typed, as one line that an event may hold.
func (d *Field) Text() string {
	text := line(d.Value())
	if text == "" {
		d.empty()
	}
	return text
}

// empty notes that nothing was typed where something is needed.
func (d *Field) empty() {
	switch {
	case !d.Needed:
	case d.Missing != "":
		d.Fault("%s", d.Missing)
	default:
		d.Fault("%s is missing", strings.ToLower(d.Label))
	}
}

// Value is what was typed, as it was typed.
func (d *Field) Value() string {
	if v, ok := d.form.values[d.Name]; ok && len(v) > 0 {
		return v[0]
	}
	if d.form.typed {
		return ""
	}
	return d.before
}

// Shown is what was typed, as a page may show it.
func (d *Field) Shown() string { return page.Clean(d.Value(), 4*maxLine) }

// Before sets what stands there until somebody types.
func (d *Field) Before(value string) *Field {
	d.before = value
	return d
}

// Need notes that the field must not be left empty.
func (d *Field) Need() *Field {
	d.Needed = true
	return d
}

// Ticked reports whether a choice was ticked or chosen.
func (d *Field) Ticked(value string) bool {
	if !d.form.typed && d.form.values[d.Name] == nil {
		return d.before != "" && d.before == value
	}
	return slices.Contains(d.form.values[d.Name], value)
}

// Tick ticks a choice, in a form that nobody sent.
func (d *Field) Tick(value string) { d.form.values[d.Name] = append(d.form.values[d.Name], value) }

// Choose is the one choice that was made; what nobody offered is a fault.
func (d *Field) Choose() string {
	v := d.Value()
	if v == "" {
		d.empty()
		return ""
	}
	if !slices.ContainsFunc(d.Choices, func(c Choice) bool { return c.Value == v }) {
		d.Fault("%s is none of the choices", line(v))
		return ""
	}
	return v
}

// All are the choices that were ticked, in the order in which they stand there. What
// nobody offered is left out.
func (d *Field) All() (out []string) {
	for _, c := range d.Choices {
		if d.Ticked(c.Value) {
			out = append(out, c.Value)
		}
	}
	return out
}

// Fault notes what is wrong with the field, as a sentence; the first that was noted stays.
func (d *Field) Fault(format string, args ...any) {
	if d.fault == "" {
		d.fault = english.Sentence(fmt.Sprintf(format, args...))
	}
}

// Doubt notes what is asked back once: sent again as it is, it is meant.
func (d *Field) Doubt(format string, args ...any) {
	if d.doubt == "" {
		d.doubt = english.Sentence(fmt.Sprintf(format, args...))
	}
}

// key names the doubt.
func (d *Field) key() string { return keyOf(d.Name, d.doubt) }

// Said is what stands beside the field: what is wrong, or else what is asked back; "" on a
// page that nobody sent.
func (d *Field) Said() string {
	switch {
	case !d.form.typed:
		return ""
	case d.fault != "":
		return d.fault
	}
	return d.doubt
}

// Wrong reports whether something stands beside the field.
func (d *Field) Wrong() bool { return d.Said() != "" }

// ID is that of the field on the page.
func (d *Field) ID() string {
	name := d.Name
	if d.form.Part != "" {
		name = d.form.Part + "-" + name
	}
	plain := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || strings.ContainsRune(typed.Digits, r) {
			return r
		}
		return '-'
	}, strings.ToLower(name))
	return "f-" + plain
}

// Describes are the places of the page that say more of the field; "" where nothing does.
func (d *Field) Describes() string {
	var ids []string
	if d.Wrong() {
		ids = append(ids, d.ID()+"-wrong")
	}
	if d.Hint != "" {
		ids = append(ids, d.ID()+"-hint")
	}
	return strings.Join(ids, " ")
}
