package origin

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"telltale/rules/analytes"
	"telltale/rules/english"
)

// Told reports whether some source is told.
func (r *Reading) Told() bool { return r != nil && len(r.Parts) > 0 }

// Words are the reading in a line: "silicon 65 mg/kg: quartz dust 0.20 ± 0.03 g/kg; iron
// beyond that 42 mg/kg: steel or iron 0.03 to 0.06 g/kg".
func (r *Reading) Words() string {
	var all []string
	for i := range r.Parts {
		p := &r.Parts[i]
		beyond := ""
		if p.Further {
			beyond = " beyond that"
		}
		all = append(all, fmt.Sprintf("%s%s %s mg/kg: %s", title(p.Analyte), beyond, english.Figures(math.Round(p.Value)), p.words()))
	}
	if len(r.Beyond) > 0 {
		var left []string
		for _, b := range r.Beyond {
			left = append(left, fmt.Sprintf("%s %s mg/kg", title(b.Analyte), english.Figures(math.Round(b.Value))))
		}
		what := "no likely source for "
		if len(r.Parts) > 0 {
			what = "no likely source for the rest: "
		}
		all = append(all, what+english.List("and", left))
	}
	return strings.Join(all, "; ")
}

// Notes say how far the words can be trusted.
func (r *Reading) Notes() (out []string) {
	if !r.Told() {
		return nil
	}
	whole := min(math.Floor(100*math.Max(r.Explained, 0)), 99) // never all of it
	share := fmt.Sprintf("this explains %.0f %% of what is more than usual", whole)
	if r.Explained < Good {
		share = fmt.Sprintf("this explains only %.0f %% of what is more than usual; there is something else too", whole)
	}
	out = append(out, share, "a hint where to look, not a finding; ± and ranges hold 95 times in 100 if there is no other source")
	if len(r.Middle) > 0 {
		var names []string
		for _, a := range r.Middle {
			names = append(names, title(a))
		}
		out = append(out, "results below their limit count as the middle of what they can be: "+english.List("and", names))
	}
	return out
}

func title(analyte string) string {
	if a, ok := analytes.Of(analyte); ok {
		return a.Title
	}
	return analyte
}

// words are the choices that a part leaves open. Those of the same families are one, over
// all that they may be; one that only adds a family to another says nothing more.
func (p *Part) words() string {
	var groups [][]Mix
	for _, m := range p.Mixes {
		m = m.byFamily()
		i := slices.IndexFunc(groups, func(g []Mix) bool { return g[0].among(m) && m.among(g[0]) })
		if i < 0 {
			groups = append(groups, []Mix{m})
		} else {
			groups[i] = append(groups[i], m)
		}
	}
	var all []string
	for _, g := range groups {
		if !slices.ContainsFunc(groups, func(o []Mix) bool { return len(o[0]) < len(g[0]) && o[0].among(g[0]) }) {
			all = append(all, joined(g))
		}
	}
	return english.List("or", all)
}

// byFamily adds up sources of one family, which stand side by side.
func (m Mix) byFamily() (out Mix) {
	for _, a := range m {
		last := len(out) - 1
		if last < 0 || out[last].Family != a.Family {
			out = append(out, a)
			continue
		}
		out[last] = Amount{Source: a.Family, Family: a.Family, Amount: out[last].Amount + a.Amount, Error: math.Hypot(out[last].Error, a.Error)}
	}
	return out
}

// among reports whether o has all families of m.
func (m Mix) among(o Mix) bool {
	return !slices.ContainsFunc(m, func(a Amount) bool {
		return !slices.ContainsFunc(o, func(b Amount) bool { return a.Family == b.Family })
	})
}

// joined are mixes of the same families: the source by its name where it is the same in
// all, by its family otherwise.
func joined(mixes []Mix) string {
	var all []string
	for i, a := range mixes[0] {
		name, low, high := a.Source, a.Amount-a.Error, a.Amount+a.Error
		for _, m := range mixes[1:] {
			if m[i].Source != name {
				name = a.Family
			}
			low, high = math.Min(low, m[i].Amount-m[i].Error), math.Max(high, m[i].Amount+m[i].Error)
		}
		if len(mixes) == 1 {
			d := digits(a.Error)
			all = append(all, fmt.Sprintf("%s %s ± %s g/kg", name, fixed(a.Amount, d), fixed(a.Error, d)))
		} else {
			d := digits((high - low) / 2)
			all = append(all, fmt.Sprintf("%s %s to %s g/kg", name, fixed(math.Max(low, 0), d), fixed(high, d)))
		}
	}
	return strings.Join(all, " with ")
}

// digits are those after the point with which an error has one figure that counts.
func digits(err float64) int { return max(0, -int(math.Floor(math.Log10(err)))) }

func fixed(v float64, digits int) string { return strconv.FormatFloat(v, 'f', digits, 64) }
