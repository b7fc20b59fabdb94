// Package stream is what JetStream keeps for the service: the log of events, what
// the partitions say, and what they must not forget.
//
// [Open] makes or checks the streams and returns the [Log], by which all of it is
// written and read. What folds the log, and answers questions, is package service;
// see its example for both. Below stand package server (the NATS server, embedded or
// joined), package jet (calls that outlast a server that does not answer) and package
// wire (how what is stored is written); package share divides what one replica does
// for all.
//
// Streams and subjects:
//
//	EVENTS      telltale.in.<vehicle>.<kind>, stored as telltale.event.<p>.<vehicle>.<kind>;
//	            telltale.all.<kind> for ticks, books, turns, surveys and baselines, which every partition folds
//	ALARMS      telltale.alarm.<p>: all that the owner of partition p says, see [wire.Message]
//	SAID        telltale.said.<p>.<vehicle>: the same by vehicle, made of ALARMS and behind it
//	STATE       telltale.state.<p>.checkpoint, telltale.state.<p>.record.<vehicle>
//	BOOKS       telltale.book.<hash>, telltale.book.<hash>.<file>,
//	            telltale.book.baselines.<hash>, telltale.book.baselines.<hash>.<piece>
//	DELIVERIES  telltale.delivery.<key>, telltale.notify
//	AUDIT       telltale.audit.<what>.<who>.<vehicle>: who did what, of package audit
//
// What is promised: an event that was acknowledged is stored, and whatever is
// written by a fence (ticks, books, the notifier's checkpoint) is written by one at a
// time.
package stream
