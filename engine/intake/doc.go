// Package intake turns what comes in into events: CloudEvents 1.0 in structured
// JSON, one a message on NATS or one a line in a file.
//
// It is strict, because a field that is misread is worse than one that is
// refused: a key that appears twice, an unknown field, a unit that does not fit,
// null, bad UTF-8, a lone surrogate, trailing text and anything over 64 KiB are
// refused, and the reason names the place and the cure:
//
//	data.unit: "L" measures a volume, a reading needs km, mi, m, h, min or s
//
// What is accepted is validated whole: whoever holds an [engine.Event] from here
// need not check it again. README.md beside this file is the reference of all
// types and fields; [Fields] says what each is called in every way in. The package
// keeps no state and knows no clock; the same bytes give the same event or the same
// reason everywhere.
package intake
