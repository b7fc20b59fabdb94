package board

import (
	"context"

	"telltale/notify/board/frame"
)

// section is a group of pages on the page that lists those that the first row does not.
type section struct {
	Title string
	Pages []described
}

// described is a page and the question that it answers.
type described struct{ Path, Name, Says string }

// further are the pages that the first row does not name.
var further = []section{
	{"Entering", []described{{"/files", "Tables", "Have you a table: mileage, work, laboratory results?"}}},
	{"For whoever runs it", []described{
		{"/said", "What has changed", "Alarms that were raised, got worse, eased or ended in the last 7 days."},
		{"/deliveries", "Messages", "Who was told, and did it arrive? What was not delivered can be tried again."},
		{"/refused", "Not used", "Events that could not be used, and vehicles that nobody registered: why, and what to do."},
		{"/audit", "Who did what", "Who signed in, entered, saved a file or was refused."},
		{"/programs", "Programs", "Which gateways and other programs may send, whether they are connected, and what was refused."},
		{"/service", "The service", "Does it run? What waits, what is full, what is wrong with the folder's files."},
	}},
	{"By what it is judged", []described{
		{"/rules", "Rules", "The rules in force, each in words and as it is written, with its cases."},
		{"/rules/try", "Try a change", "What would a change of the rules have said? It puts nothing in force."},
		{"/baselines", "What is usual in this fleet", "What the fleet's own samples usually hold, and which rules compare with it."},
		{"/people", "People", "Who hears of what, and by which way."},
		{"/words", "What the words mean", "Stages, standings, units, and what laboratories report."},
	}},
}

func (s site) more(_ context.Context, r *frame.Request) (*frame.Page, error) {
	var all []section
	for _, of := range further {
		one := section{Title: of.Title}
		for _, p := range of.Pages {
			if r.Leads(p.Path) {
				one.Pages = append(one.Pages, p)
			}
		}
		if one.Pages != nil {
			all = append(all, one)
		}
	}
	body, err := templates.Body("more", all)
	return &frame.Page{Section: frame.More, Title: "More", Body: body}, err
}
