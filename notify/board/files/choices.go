package files

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"telltale/engine/intake/table"
	"telltale/engine/intake/table/chosen"
	"telltale/notify/board/form"
	mailpage "telltale/notify/page"
	"telltale/rules/analytes"
	"telltale/rules/english"
)

// maxColumns is how many columns are asked after.
const maxColumns = 100

// card is one column with its fields.
type card struct {
	Number  int
	Heading string
	First   []string // what its first cells say

	Title, Means, Called, Unit      *form.Field
	Names, Out, Between, Limit, Key *form.Field
	Open                            bool // more was said of it
}

// fields are those of the form: of the file as a whole, then of each column.
type fields struct {
	*form.Form
	Sort    chosen.Sort
	Writing table.Writing

	Source, Zone, Decimal, Thousands, Order, Century, Time, Missing, Below, Undetected, Trace *form.Field
	Cards                                                                                     []card
	Always                                                                                    []always
	SaveAs                                                                                    *form.Field
}

// always is what is the same in every row.
type always struct{ Means, Text *form.Field }

func choices(words ...string) (out []form.Choice) {
	for _, w := range words {
		out = append(out, form.Choice{Value: w, Label: cmp.Or(w, "not said")})
	}
	return out
}

// newFields are the fields of a table's form; headings are those of the table as it was
// looked at or, where it is gone, as they were sent.
func newFields(f *form.Form, sort chosen.Sort, w table.Writing, headings []string, first [][]string) *fields {
	out := &fields{Form: f, Sort: sort, Writing: w}
	of := func(name, label, hint string, c ...form.Choice) *form.Field {
		d := f.Field(name, label)
		d.Hint, d.Choices = hint, c
		return d
	}
	out.Source = of("source", "Who reports it", "a name of your own, such as /laboratory/valley. It is part of each event's identity.").Before("/sheet/1")
	out.Zone = of("zone", "Time zone of its dates", "").Before(f.Zone.String())
	out.Order = of("date order", "Dates", "Dates that begin with the year, or name the month, need no answer.", choices("", "day first", "month first", "year first")...)
	out.Century = of("century", "Years of two digits are", "", choices("", "1900", "2000")...)
	out.Time = of("time of day", "Time of a day without one", "such as 18:00")
	out.Decimal = of("decimal mark", "Decimal mark", "", choices("", "point", "comma")...)
	out.Thousands = of("thousands mark", "Mark between thousands", "", choices("", "comma", "point", "blank", "apostrophe")...)
	out.Missing = of("not measured", "Words for “no value”", "each behind a comma, such as -, n/a")
	out.Below = of("below", "Mark before a limit", "such as <, which makes <5 mean below 5")
	out.Undetected = of("not detected", "Words for “not detected”", "such as ND, n.d.")
	out.Trace = of("trace", "Words for “trace”", "")
	for i, h := range headings[:min(len(headings), maxColumns)] {
		out.Cards = append(out.Cards, out.card(i+1, h, first, of))
	}
	for i := range 3 {
		n := strconv.Itoa(i + 1)
		out.Always = append(out.Always, always{of("always"+n, "The same in every row, "+n, "", out.means(true)...), of("always"+n+"-text", "What it is, "+n, "")})
	}
	out.SaveAs = of("save", "Name of the mapping", wordSaveAs)
	return out
}

// means are what a column may mean; of all rows, what may be the same in each.
func (f *fields) means(always bool) []form.Choice {
	out := []form.Choice{{Value: "", Label: "nothing"}}
	for _, m := range f.Sort.Meanings() {
		if !always || m.Always {
			out = append(out, form.Choice{Value: m.Key, Label: labels[m.Key]})
		}
	}
	return out
}

// card is the fields of one column.
func (f *fields) card(n int, heading string, first [][]string, of func(name, label, hint string, c ...form.Choice) *form.Field) card {
	c := card{Number: n, Heading: heading}
	for _, row := range first {
		if len(row) >= n && row[n-1] != "" {
			c.First = append(c.First, mailpage.Clean(row[n-1], 200))
		}
	}
	key, at := fmt.Sprintf("c%d-", n), fmt.Sprintf(" of column %d", n)
	means, called := f.likely(heading)
	c.Title = of(key+"heading", "Heading"+at, "").Before(heading)
	c.Means = of(key+"means", "Meaning"+at, "", f.means(false)...).Before(means)
	c.Called = of(key+"name", "Name"+at, "").Before(called)
	c.Unit = of(key+"unit", "Unit"+at, "")
	c.Names = of(key+"names", "What its cells stand for", "on each line what the cell says, = and what is meant: B7 = bus-07")
	c.Out = of(key+"out", "Rows left out where it says", "each behind a comma")
	c.Between = of(key+"between", "What stands between several in a cell", "such as a comma")
	c.Limit = of(key+"limit", "Limit of detection", "in its unit, for results that are not detected")
	c.Key = of(key+"id", "It tells this row from the others", "")
	for _, d := range []*form.Field{c.Names, c.Out, c.Between, c.Limit, c.Key} {
		c.Open = c.Open || d.Value() != "" || d.Wrong()
	}
	return c
}

// likely is what a column with that heading may mean, for a person to look at: the meaning
// of that name, or an analyte's.
func (f *fields) likely(heading string) (means, called string) {
	for _, m := range f.Sort.Meanings() {
		if !m.Named && english.Folded(heading) == english.Folded(m.Key) {
			return m.Key, ""
		}
	}
	if a, ok := analytes.Find(heading); ok && f.Sort == chosen.Samples {
		return chosen.Analyte, a.Name
	}
	return "", ""
}

// words are what stands between commas.
func words(d *form.Field) (out []string) {
	for _, w := range strings.Split(d.Text(), ",") {
		if w = strings.TrimSpace(w); w != "" {
			out = append(out, w)
		}
	}
	return out
}

// chosen are the choices that the form has.
func (f *fields) chosen() *chosen.Choices {
	c := &chosen.Choices{Sort: f.Sort, Writing: f.Writing, Source: f.Source.Text(), Zone: f.Zone.Text(),
		DecimalMark: f.Decimal.Text(), ThousandsMark: f.Thousands.Text(), DateOrder: f.Order.Text(), Century: f.Century.Text(), TimeOfDay: f.Time.Text(),
		Below: words(f.Below), NotDetected: words(f.Undetected), Trace: words(f.Trace), NotMeasured: words(f.Missing)}
	for _, k := range f.Cards {
		col := chosen.Column{Heading: k.Heading, Means: k.Means.Value(), Name: k.Called.Text(), Unit: k.Unit.Text(), Limit: k.Limit.Text(), Between: k.Between.Text(),
			TellsApart: k.Key.Ticked("yes"), LeaveOut: words(k.Out)}
		for line := range strings.Lines(k.Names.Value()) {
			if line = strings.TrimSpace(line); line != "" {
				cell, name, _ := strings.Cut(line, "=")
				col.Names = append(col.Names, chosen.Translation{Cell: cell, Name: name})
			}
		}
		c.Columns = append(c.Columns, col)
	}
	for _, a := range f.Always {
		c.Always = append(c.Always, chosen.Always{Means: a.Means.Value(), Text: a.Text.Text()})
	}
	return c
}

// blame notes each fault at the field that it is of.
func (f *fields) blame(faults []chosen.Fault) {
	whole := []*form.Field{f.Source, f.Zone, f.Decimal, f.Thousands, f.Order, f.Century, f.Time, f.Missing, f.Below, f.Undetected, f.Trace}
	for _, fault := range faults {
		text := fault.Text
		if fault.Hint != "" {
			text += " (" + fault.Hint + ")"
		}
		var at *form.Field
		if i := fault.Column - 1; i >= 0 && i < len(f.Cards) {
			k := &f.Cards[i]
			at = map[string]*form.Field{"name": k.Called, "unit": k.Unit, "limit": k.Limit, "between": k.Between, "names": k.Names, "out": k.Out, "id": k.Key}[fault.Of]
			at = cmp.Or(at, k.Means)
			k.Open = k.Open || at != k.Means && at != k.Called && at != k.Unit
		} else if i := slices.IndexFunc(whole, func(d *form.Field) bool { return d.Name == fault.Of }); i >= 0 {
			at = whole[i]
		}
		if at != nil {
			at.Fault("%s", text)
		} else {
			f.Fault("%s", text)
		}
	}
}
