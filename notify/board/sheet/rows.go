package sheet

import (
	"cmp"
	"slices"
	"strings"

	"telltale/engine/event"
	"telltale/engine/lab"
	"telltale/engine/sample"
	"telltale/notify/board/form"
	"telltale/notify/page"
	"telltale/rules/analytes"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// row is a result of the sheet: an analyte, what is printed, its unit, and the printed
// average.
type row struct {
	analyte              string
	Value, Sign, Average *form.Field
	past                 *sample.Past // of the component; nil where there are none
	result               *event.ResultData
}

const (
	rowName = "row"
	addName = "more"

	signBelow, signAbove, signNone, signTrace = "<", ">", "nd", "trace"

	// mostRows is more than any sheet has.
	mostRows = 120
	// mostPrinted is more than any laboratory prints, in any unit.
	mostPrinted = 1e9
)

var signs = []form.Choice{{Value: "", Label: "is"}, {Value: signBelow, Label: "below"}, {Value: signAbove, Label: "above"},
	{Value: signNone, Label: "not detected"}, {Value: signTrace, Label: "trace"}}

// usual are the results that a first sheet of a component begins with; what a laboratory
// prints besides is added. Common practice, no source.
var usual = []string{"Fe", "Cu", "Al", "Pb", "Sn", "Cr", "Si", "Na", "K", "water", "KV100"}

// allRows are the results that the form has, in its order: at first those of the last
// sheet, then what was added.
func (t *typing) allRows() (out []*row) {
	names := t.req.PostForm[rowName]
	if t.req.PostForm == nil || len(names) == 0 {
		names = t.lastNames()
	}
	if t.req.PostForm.Get(doName) == doAdd {
		names = append(slices.Clone(names), t.req.PostForm.Get(addName))
	}
	seen := map[string]bool{}
	for _, name := range names {
		if analytes.Known(name) && !seen[name] && len(out) < mostRows {
			seen[name] = true
			out = append(out, t.row(name))
		}
	}
	return out
}

// lastNames are the analytes of the last sheet, in its order.
func (t *typing) lastNames() (out []string) {
	if t.last == nil {
		return usual
	}
	for i := range t.last.Results {
		out = append(out, t.last.Results[i].Analyte)
	}
	return out
}

func (t *typing) row(name string) *row {
	called := english.Capital(t.req.Viewer.Spelling.Of(analytes.Named(name)))
	r := &row{analyte: name}
	r.Value = t.form.Field("r-"+name, called).In(lab.UnitsOf(name)...)
	r.Sign = t.form.Field("s-"+name, "Before the number of "+called)
	r.Sign.Choices = signs
	r.Average = t.form.Field("m-"+name, "Average of "+called)
	if i := t.lastOf(name); i >= 0 {
		of := &t.last.Results[i]
		if k := slices.Index(r.Value.Units, of.ReportedIn); k > 0 {
			r.Value.In(append([]string{of.ReportedIn}, slices.Delete(r.Value.Units, k, k+1)...)...)
		}
		r.past = withLast(of)
	}
	return r
}

// lastOf is where the last sheet has the analyte; -1 where it does not.
func (t *typing) lastOf(name string) int {
	if t.last == nil {
		return -1
	}
	return slices.IndexFunc(t.last.Results, func(r sample.Result) bool { return r.Analyte == name })
}

// withLast is what all sheets up to the last one had of an analyte, which is the last one's.
func withLast(of *sample.Result) *sample.Past {
	if of.High == nil {
		return of.Past
	}
	out := sample.Past{Least: *of.High, Most: *of.High, Samples: 1}
	if p := of.Past; p != nil {
		out = sample.Past{Least: min(p.Least, out.Least), Most: max(p.Most, out.Most), Samples: p.Samples + 1}
	}
	return &out
}

// read reads the row, and notes what is wrong or doubtful; density is in g/mL.
func (r *row) read(density float64) {
	sign, text := r.Sign.Value(), strings.TrimSpace(r.Value.Value())
	d := event.ResultData{Analyte: r.analyte, Unit: r.Value.Unit()}
	got := r.Value.Result(0, mostPrinted)
	switch {
	case text == "" && sign != signNone && sign != signTrace:
		r.averageAlone()
		return
	case got == nil && text != "":
		return // it says so
	case sign == signNone || sign == signTrace:
		d.NotDetected, d.Trace = sign == signNone, sign == signTrace
		if got != nil {
			d.Below = &got.Value
		}
	case got.Below || sign == signBelow:
		d.Below = &got.Value
	case got.Above || sign == signAbove:
		d.Above = &got.Value
	default:
		d.Value = &got.Value
	}
	if got != nil {
		d.Decimals = got.Decimals
		r.doubt(got.Value, d.Unit, density)
	}
	if average, ok := r.Average.Number(0, mostPrinted); ok {
		d.Average = &average
	}
	r.result = &d
}

// averageAlone asks for the result where only the average was typed.
func (r *row) averageAlone() {
	if strings.TrimSpace(r.Average.Value()) != "" {
		r.Value.Fault("the average is there, and the result is missing")
	}
}

// far is how many times over the most, or under the least, of all before a result is asked
// back: a slip of the decimal mark or of the unit. Common practice, no source.
const (
	far          = 10
	farViscosity = 2 // the viscosities at 40 and 100 °C are often swapped
)

// doubt asks back a unit that the result cannot be read in, and a value that is far from
// all before.
func (r *row) doubt(value float64, in string, density float64) {
	v, err := lab.Normalise(r.analyte, value, in, density)
	if err != nil {
		r.Value.Doubt(wordUnread, err)
		return
	}
	a, _ := analytes.Of(r.analyte)
	times := float64(far)
	if a.Kind == unit.Viscosity || a.Kind == unit.Temperature {
		times = farViscosity
	}
	p := r.past
	if p == nil || p.Most <= 0 {
		return
	}
	spread := lab.PrecisionOf(r.analyte).Limit(p.Most, false) // of two laboratories
	if v > times*p.Most && v-p.Most > spread || v < p.Least/times && p.Least-v > spread {
		earlier := english.Figures(p.Most)
		if p.Least != p.Most {
			earlier = english.Figures(p.Least) + " to " + english.Figures(p.Most)
		}
		r.Value.Doubt(wordFar, english.Counted(p.Samples, "earlier sample had", "earlier samples had"), earlier, english.Unit(cmp.Or(a.Unit, "")))
	}
}

// shownRow is a row as the template shows it.
type shownRow struct {
	*row
	Name     string
	Averages bool
}

// typed is what the template of the form gets.
type typed struct {
	fields
	Rows     []shownRow
	Add      *form.Field
	Averages bool
	// Others are the form for sheets of other laboratories.
	Others []link
}

type link struct{ Words, Path string }

func (t *typing) shown() typed {
	out := typed{fields: t.fields, Averages: t.averages(), Add: t.form.Field(addName, "Another result")}
	for _, r := range t.rows {
		out.Rows = append(out.Rows, shownRow{r, r.analyte, out.Averages})
	}
	for _, name := range analytes.Names() {
		if analytes.Reported(name) && !slices.ContainsFunc(t.rows, func(r *row) bool { return r.analyte == name }) {
			out.Add.Choices = append(out.Add.Choices, form.Choice{Value: name, Label: english.Capital(t.req.Viewer.Spelling.Of(analytes.Named(name)))})
		}
	}
	slices.SortFunc(out.Add.Choices, func(a, b form.Choice) int { return strings.Compare(a.Label, b.Label) })
	seen := map[string]bool{t.fields.Laboratory.Value(): true}
	for i := range t.lines {
		if l := t.lines[i].Laboratory; !seen[l] {
			seen[l] = true
			out.Others = append(out.Others, link{page.Clean(l, page.MaxText), t.at(t.component.Name, l)})
		}
	}
	return out
}

// averages reports whether there are fields for the averages that the sheet prints.
func (t *typing) averages() bool {
	asked := t.req.PostForm.Get(doAverages) != "" || t.req.PostForm.Get(doName) == doAverages
	return asked || t.last != nil && slices.ContainsFunc(t.last.Results, func(r sample.Result) bool { return r.Average != nil })
}
