package rules

import "telltale/rules/expression"

// program is what runs when a rule is judged. Rules that ask the same share one: judging a
// book of many rules is mostly waiting for the memory that they take.
type program struct {
	asks    *expression.Asks
	measure *expression.Condition // nil for a pattern
	limits  [4]*expression.Condition
	raise   *expression.Condition
	clear   *expression.Condition
}

// asked is what programs have in common that give the same.
type asked [7]*expression.Shared

// programOf is the program of the rule, or an equal one of an earlier rule.
func (l *loader) programOf(p *program) *program {
	var key asked
	for i, c := range append([]*expression.Condition{p.measure, p.raise, p.clear}, p.limits[:]...) {
		if c == nil {
			continue
		}
		if key[i] = c.Shared(); key[i] == nil {
			return p
		}
	}
	if l.programs[key] == nil {
		l.programs[key] = p
	}
	return l.programs[key]
}
