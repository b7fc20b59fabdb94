package form

import (
	_ "embed"
	"html/template"
)

//go:embed form.html
var formHTML string

// Templates adds the templates of forms to a set of pages:
//
//	form.summary  what is wrong with a *Form, as links to the fields, first on the page
//	form.hidden   its identity and the doubts it shows, once within its <form>
//	form.text     a *Field of one line
//	form.number   a number, with its unit where the field has several
//	form.day      a day
//	form.choice   one of a list of choices         form.one    one of several, each in sight
//	form.tick     a box that says yes              form.ticks  boxes of which several may be ticked
//
// The classes they use: faults (the summary), field, hint, wrong, two (a number and its
// unit in one row), unit, tick (a box in its row).
func Templates(set *template.Template) *template.Template {
	return template.Must(set.Parse(formHTML))
}
