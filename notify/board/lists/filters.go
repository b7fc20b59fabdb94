package lists

import (
	"cmp"
	"maps"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/listing"
	"telltale/notify/page"
	"telltale/notify/stages"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// filters is the form that narrows a list, with what it is narrowed to now.
type filters struct {
	Path    string
	Label   string // of the search
	Q       string
	Choices []choice
	Ticks   []tick
	On      string
	Day     bool // asks for a day
	Hidden  []option
	Said    string // what the list is narrowed to, in words
	All     string // the list that is not; "" where it is the whole one
}

// choice is one of several, and tick yes or no.
type (
	choice struct {
		Name, Label string
		Options     []option
	}
	option struct {
		Value, Label string
		Chosen       bool
	}
	tick struct {
		Name, Label string
		On          bool
	}
)

// options are those of a filter with how many lines each has, the one that is chosen among
// them whether or not it has any.
func options(of map[string]int, chosen, all string, label func(string) string) []option {
	names := slices.Sorted(maps.Keys(of))
	if chosen != "" && !slices.Contains(names, chosen) {
		names = append(names, chosen)
		slices.Sort(names)
	}
	out := []option{{"", all, chosen == ""}}
	for _, n := range names {
		if n != "" {
			out = append(out, option{n, page.Clean(label(n), 80) + " (" + unit.Grouped(float64(of[n])) + ")", n == chosen})
		}
	}
	return out
}

func same(s string) string { return s }

// tagWords is "depot: north" of depot=north.
func tagWords(tag string) string { return strings.Replace(tag, "=", ": ", 1) }

// stageOptions are the stages that a list may be narrowed to, in the order of its groups.
func stageOptions(order []alarm.Stage, of map[alarm.Stage]int, chosen []alarm.Stage) []option {
	out := []option{{"", "all", len(chosen) == 0}}
	for _, s := range order {
		out = append(out, option{string(s), stages.Of(s).Head + " (" + unit.Grouped(float64(of[s])) + ")", len(chosen) == 1 && chosen[0] == s})
	}
	return out
}

// narrowed says what the list is narrowed to.
func (a ask) narrowed(date func(string) string) string {
	var said []string
	add := func(yes bool, words string) {
		if yes {
			said = append(said, page.Clean(words, 200))
		}
	}
	add(a.Q != "", "“"+a.Q+"”")
	add(a.Vehicle != "", "vehicle "+a.Vehicle)
	add(a.Tag != "", tagWords(a.Tag))
	for _, s := range a.Stage {
		add(true, strings.ToLower(stages.Of(s).Head))
	}
	add(a.Kind != "", a.Kind)
	add(a.Rule != "", a.Rule)
	add(a.Person != "", "of "+a.Person)
	add(a.Of == listing.OfData, "readings and sheets themselves")
	add(a.Statutory, "required by law")
	add(a.State != "", a.State)
	add(a.Silent > 0, "no reading for more than "+english.Counted(a.Silent, "day", "days"))
	add(a.Ahead > 0, english.Counted(a.Ahead, "day", "days")+" ahead")
	add(a.On != "", "as on "+date(a.On))
	if len(said) == 0 {
		return ""
	}
	return "Only: " + strings.Join(said, ", ") + "."
}

// filters is the list's form.
func (a ask) filters(path string, date func(string) string, choices []choice, ticks ...tick) filters {
	f := filters{Path: path, Q: page.Clean(a.Q, maxWords), Choices: choices, Ticks: ticks, On: a.On, Said: a.narrowed(date)}
	if f.Said != "" || a.Aside {
		f.All = ask{View: a.View}.at(path)
	}
	asked := map[string]bool{"q": true, "on": true}
	for _, c := range choices {
		asked[c.Name] = true
	}
	for _, t := range ticks {
		asked[t.Name] = true
	}
	v := a.values()
	for _, name := range slices.Sorted(maps.Keys(v)) {
		if !asked[name] {
			f.Hidden = append(f.Hidden, option{Value: v.Get(name), Label: name})
		}
	}
	f.Label = cmp.Or(f.Label, "Find a vehicle or work")
	return f
}
