package operator

import (
	"telltale/engine/event"
	"telltale/engine/stream/refusals"
	"telltale/notify"
	"telltale/notify/delivery"
	"telltale/rules/english"
)

// The sentences of the operator's pages, and what there is to do.

const (
	wordNotTried   = "It was not tried again."
	wordNotTriedDo = "No replica of the service sends messages at this moment. Try again in a minute; if that does not help, look at the service's log."
)

var stateWord = map[delivery.State]string{
	delivery.Failed: "Not delivered", delivery.Waiting: "Waiting", delivery.Sending: "Being sent", delivery.Sent: "Sent",
}

var kindWord = map[notify.Kind]string{notify.Lists: "lists", notify.Messages: "messages about single alarms"}

func messages(n int) string { return english.Counted(n, "message", "messages") }

func notDelivered(n int) string {
	return english.Counted(n, "message was not delivered", "messages were not delivered") + ". What the server said stands beside each."
}

// whatToDo says what an operator must do about a message.
func whatToDo(d *delivery.Delivery) string {
	switch {
	case d.Gone:
		return "The receiver wants nothing more. Take this way out of people.yaml, or put the receiver right and try again."
	case d.State == delivery.Failed:
		return "It is not tried any more. Usually the address is wrong: put it right in people.yaml, and what comes next goes there. " +
			"This one goes to the old address, so try again only if that works now; else tell the person yourself."
	case d.State == delivery.Waiting && d.Unknown > 0:
		return "The connection broke, so it may have arrived. It is sent again by itself, marked as the same message."
	case d.State == delivery.Waiting && d.Attempts > 0:
		return "It is tried again by itself. Nothing to do, unless it goes on for hours."
	}
	return ""
}

// reasons are the kinds of reasons why an event is refused, in the order in which they are
// told, with what there is to do about each.
var reasons = []struct {
	Class    event.RefusalClass
	Name, Do string
}{
	{event.Malformed, "Not readable", "Whoever sends it has to put it right and send it again. Show them the reason and the event."},
	{refusals.Other, "Does not fit the vehicle", "Look at the reason: either vehicles.yaml lacks a meter or component, or the sender names it otherwise. Put one of the two right, then have it sent again."},
	{event.InTheFuture, "Dated in the future", "The sender's clock is wrong. Set it, then have the event sent again with the right time."},
	{event.Conflict, "Used an identity twice", "Two events with different content have the same source and id, and the first one counts. If the second is right, void the first and send the second under an id of its own."},
	{event.Forged, "Only the service may write it", "A program sends what the service writes itself. Stop it, and look at who may publish there."},
	{event.Fault, "A fault of this program", "The event is kept in the log, and the vehicle stands as before it. Report the fault with the reason and the event."},
}

// wordStrangers is what to do about vehicles that nobody registered.
const wordStrangers = "Somebody reports of these, and they are not in vehicles.yaml. Their events are kept for 90 days and judged once the vehicle is registered. " +
	"If it is yours, copy the lines into vehicles.yaml and fill in what is missing. If the sender misspells a name, have it put right there; or write the misspelt name under was: of the vehicle, and what was sent counts for it."
