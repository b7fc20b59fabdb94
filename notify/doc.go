// Package notify decides who hears of what, and says it in words.
//
// Tell turns what one cause did into one message for each person and vehicle; Digest
// turns the parts of a due list into a person's list. Both are functions of what they
// are given: the same transitions make the same messages, to the byte. Who there is,
// and who hears of what, is package people's.
//
// A Notifier drives them from the log of transitions. It composes each message once
// and creates it in the Store as a delivery under a key made of cause, vehicle, person
// and way, so that reading the log again makes nothing twice. What waits for quiet
// hours, and what nobody has acknowledged, it keeps in its checkpoint.
package notify
