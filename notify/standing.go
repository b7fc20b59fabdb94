package notify

import (
	"telltale/engine/alarm"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/rules/english"
)

// Standing says an alarm that stands in the words of a message: what it is, what
// to do first, what was found, and the figures, with the likely sources and what
// to mind; in the person's units.
func Standing(who *people.Person, vehicle string, s *alarm.Listed) (title, strong, found string, figures []string) {
	const long = 500
	p := reader{who}
	if found = p.dates(s.Message); s.Task {
		found = p.dueNow(&s.Transition)
	}
	found = page.Clean(found, long)
	title = page.Clean(vehicle+inComponent(s.Component)+": "+titleOf(&s.Transition), 200)
	strong = page.Clean(english.Sentences(doFirst(s.Task, s.Statutory, s.To, s.Advise)), long)
	for _, f := range p.figures(s.Evidence) {
		figures = append(figures, page.Clean(f, long))
	}
	if source := english.List("or", s.PointsTo); source != "" {
		figures = append(figures, page.Clean(labelSource+": "+source, long))
	}
	for _, c := range s.Cautions {
		figures = append(figures, page.Clean(english.Sentence(cautionSentence(c, s.OwnCautions)), long))
	}
	return title, strong, found, figures
}
