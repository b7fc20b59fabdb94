// Package samples is the example fleet: the register, the rules, the people and a
// year of events of Larkfell Community Transport, an invented co-operative in
// invented hills. README.md tells its stories.
package samples

import "embed"

// FS holds the fleet as it lies in this folder: vehicles.yaml, people.yaml,
// telltale.yaml, the rule files under rules, the year of events in events.jsonl
// and README.md.
//
//go:embed vehicles.yaml people.yaml telltale.yaml rules events.jsonl README.md
var FS embed.FS
