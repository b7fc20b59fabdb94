// Package table turns the rows of a table, as laboratories, workshops and
// spreadsheets write them, into events. A [Mapping], a YAML file of the user's own,
// says what each column is; nothing is guessed:
//
//	import: samples
//	source: /laboratory/valley
//	zone: Europe/London
//	date order: day first
//	decimal mark: ","
//	delimiter: ";"
//	below: ["<"]
//	not detected: [n.d.]
//	vehicle: {column: Fleet no., names: {B7: bus-07}}
//	component: {column: Unit, names: {AT: transmission}}
//	number: Report
//	date: Sampled
//	reported: Reported
//	age: {column: Oil km, unit: km}
//	meters: {odometer: {column: Km, unit: km}}
//	results:
//	  Cu: {column: Copper, unit: mg/kg}
//	  Pb: {column: Lead, unit: mg/kg, limit: 1}
//
// [Mapping.Read] reads a whole file or nothing of it: each fault comes with its row
// and column as a spreadsheet shows them, the cause, and the line of the mapping
// that would have worked. The same file gives the same events with the same
// identities. README.md beside this file is the reference of all keys.
package table
