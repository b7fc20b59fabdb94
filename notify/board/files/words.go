package files

import (
	"fmt"
	"telltale/rules/unit"
)

// The words of this room.
var wordMost = fmt.Sprintf("A CSV file, as spreadsheets save it, of at most %d MiB and %s rows.", maxFile>>20, unit.Grouped(maxRows))

const (
	wordStart       = "Have you a table: mileage, work, laboratory results or measurements?"
	wordOwnMapping  = "one of my own, which I send along"
	wordFaulty      = "the mapping has faults, which stand below"
	wordTooLarge    = "That is too large."
	wordUnread      = "The form could not be read. Please send it again."
	wordForgotten   = "This file is no longer here."
	wordForgottenDo = "A file is kept for 15 minutes, and not on disk. Choose it again: what was stored of it is not stored twice."
	wordNothing     = "Nothing is stored yet."
	wordNoneStored  = "Nothing of this file can be stored until this is put right."
	wordAllKnown    = "All of it is stored already, so there is nothing to send."
	wordHalf        = "It could not be seen whether all of the file was stored."
	wordHalfDo      = "Send it again: what is stored is not stored twice."
	wordMapping     = "Say what each column means, look at what comes of it, and keep the mapping."
	wordNoTable     = "The table is no longer here: it is kept for 15 minutes. The mapping below is whole. Save it, then choose the table again."
	wordMade        = "the mapping %s.yaml (%s) was kept in the folder"
	wordTook        = "%s (%s): %s stored, %d refused, by the mapping %s (%s)"
	wordNotFor      = "you may not enter tables for %s"
	wordNotForDo    = "leave its rows out"
	wordNotFrom     = "the mapping's source is %s, which is that of what somebody types in themselves"
	wordNotFromDo   = "write source: /laboratory/NAME or the like into the mapping"
	wordSaveAs      = "small letters, figures, - and _"
)

// labels say what a column may mean.
var labels = map[string]string{
	"vehicle": "the vehicle", "date": "the date", "time": "the time of day", "reported": "when it was reported", "meter": "a meter",
	"topped up": "fluid topped up", "component": "the component", "tasks": "the work done", "fluid": "the fluid filled in", "drained": "fluid drained",
	"filled": "fluid filled in: how much", "flush": "all renewed by a machine (yes or no)", "filter": "filter renewed (yes or no)", "valid until": "valid until",
	"defect": "a defect that was seen", "by": "who did it", "note": "a note", "number": "the report's number", "revision": "the revision",
	"repeat": "which analysis of the sample", "taken": "before or after the work", "age": "the fluid's age", "average age": "the age that the averages are of",
	"laboratory": "the laboratory", "method": "the method", "point": "where it was drawn", "density": "the density", "analyte": "a result",
	"average": "the laboratory's average of a result", "measure": "a measurement", "result: analyte": "what was measured", "result: value": "its value",
	"result: unit": "its unit", "result: average": "the laboratory's average of it",
}

// named say which one a column with a name is of.
var named = map[string]string{
	"readings": "Which meter", "services": "Which meter", "samples": "Which meter or result", "results": "Which meter", "measures": "Which meter or measurement",
}

// sorts say what a table is of.
var sorts = map[string]string{
	"readings": "mileage or hours: what meters show", "services": "work that was done", "samples": "laboratory results, a column for each analyte",
	"results": "laboratory results, a row for each", "measures": "what was measured by hand: linings, tread",
}
