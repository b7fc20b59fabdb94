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
}

func (s site) more(_ context.Context, r *frame.Request) (*frame.Page, error) {
	body, err := templates.Body("more", further)
	return &frame.Page{Section: frame.More, Title: "More", Body: body}, err
}
