package try

import (
	"net/http"

	"telltale/notify/board/frame"
)

const (
	wordNoBook   = "No rules are in force yet, so there is nothing to compare a change with."
	wordNoBookDo = "Put rule files into the folder's rules/ and start the service, or run telltale adopt."
	wordLead     = "What would change? Write the change, look at its cases, and see what it would have said."
	wordFaults   = "the text has faults, which stand below"
)

// noBook is the answer to a change that is sent while there is nothing to compare it with.
var noBook = &frame.Fault{Status: http.StatusNotFound, Title: wordNoBook, Words: wordNoBookDo}

var toRules = frame.Link{Words: "Rules", Path: "/rules"}

// forgotten is the answer for a change that is kept no more.
var forgotten = &frame.Fault{Status: http.StatusNotFound, Title: "What came of this change is no longer here.",
	Words: "It is kept for 15 minutes. Try the change again."}
