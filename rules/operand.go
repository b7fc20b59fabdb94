package rules

import "math"

// kind is the type of an expression.
type kind uint8

const (
	anyKind kind = iota
	number
	text
	truth
	list    // of constants; only to the right of `in`
	vehicle // the names whose fields are read
	component
	tags
)

var kindWords = [...]string{"anything", "a number", "text", "true or false", "a list", "the vehicle", "the component", "the tags"}

func (k kind) String() string { return kindWords[k] }

// operand is a compiled expression: the function of its kind runs it. Functions
// report what is missing or not finite to the state and go on with a zero value.
type operand struct {
	kind  kind
	num   func(*state) float64
	text  func(*state) string
	truth func(*state) bool

	constant bool
	value    float64   // of a constant number
	word     bool      // is a word or a name: evidence shows it already, or need not
	numbers  []float64 // of a list
	texts    []string
	censors  string // the analyte, where it is exactly value(analyte)
}

// state is what one run of conditions works on. It belongs to one Judge.
type state struct {
	facts   Facts
	vehicle *Vehicle
	comp    *Component
	measure float64
	stage   int

	asks  *asks
	slots []slot // by number of the question
	lets  []operandValue

	missing []string
	record  *[]Evidence // nil but for the instrumented run
	units   Units
}

// slot is the answer to one question in one run.
type slot struct {
	value float64
	known bool
	hours bool // rate was answered per hour
}

// operandValue is what a let name stands for in one run.
type operandValue struct {
	num   float64
	text  string
	truth bool
}

// begin prepares the state for conditions that share a.
func (s *state) begin(a *asks) {
	n := len(a.list)
	if cap(s.slots) < n {
		s.slots = make([]slot, n)
	}
	s.slots = s.slots[:n]
	clear(s.slots)
	s.asks = a
	s.missing = s.missing[:0]
}

// ask gives the answer to question i in the book's units. Each question is put
// to the facts once a run.
func (s *state) ask(i int) float64 {
	a := &s.slots[i]
	if !a.known {
		s.answer(i, a)
	}
	if s.record != nil {
		s.recordWord(i)
	}
	return a.value
}

func (s *state) answer(i int, a *slot) {
	a.known = true
	q := &s.asks.list[i]
	if q.info.truth {
		v, why, ok := s.facts.Truth(q.info.word, q.arg)
		if !ok {
			s.miss(why)
		}
		if v {
			a.value = 1
		}
		return
	}
	v, why, ok := s.facts.Number(q.info.word, q.arg)
	times := q.times
	if !ok && q.info.word == WordRate {
		if v, _, ok = s.facts.Number(WordRateHours, q.arg); ok {
			times = per100Hours
			a.hours = true
		}
	}
	if !ok {
		s.miss(why)
		return
	}
	if v = v * times / q.over; !finite(v) {
		s.miss(notFinite + ": " + q.of)
		return
	}
	a.value = v
}

// notFinite is the reason that is listed for NaN and infinity.
const notFinite = "a number that is not finite"

func (s *state) miss(why string) { s.missing = append(s.missing, why) }

// check passes a finite number on and reports any other.
func (s *state) check(v float64, of string) float64 {
	if !finite(v) {
		s.miss(notFinite + ": " + of)
		return 0
	}
	return v
}

// recordWord adds the answer to the evidence, once.
func (s *state) recordWord(i int) {
	q := &s.asks.list[i]
	if q.info.word == WordHas {
		return
	}
	e := Evidence{Of: q.of, Value: s.slots[i].value, Unit: q.info.unit(q.arg, s.units, s.slots[i].hours)}
	word := q.info.word
	if s.slots[i].hours {
		word = WordRateHours
	}
	e.Note = s.facts.Note(word, q.arg)
	if e.Note == "" && q.info.truth {
		e.Note = map[bool]string{true: "yes", false: "no"}[s.slots[i].value != 0]
	}
	s.recordOnce(e)
}

func (s *state) recordOnce(e Evidence) {
	for _, old := range *s.record {
		if old.Of == e.Of {
			return
		}
	}
	*s.record = append(*s.record, e)
}

func constantNumber(v float64) operand {
	return operand{kind: number, constant: true, value: v, num: func(*state) float64 { return v }}
}

func constantText(v string) operand {
	return operand{kind: text, constant: true, text: func(*state) string { return v }, texts: []string{v}}
}

// nan is the limit of a stage that has none.
var nan = math.NaN()
