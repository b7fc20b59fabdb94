// Package operator is the board's pages for whoever runs the service: what was said, who
// was told of it and whether it arrived, what could not be used, what is usual in the
// fleet, who hears of what, and whether the service runs.
package operator

import "telltale/notify/board/frame"

// Pages are the operator's.
func Pages(f *frame.Frame) []frame.Route { return nil }
