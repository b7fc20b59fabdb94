// Package notify decides who hears of what, and says it in words.
//
// A Directory is people.yaml, read and checked: who there is, and who hears of
// which stages of which vehicles, at once or in the daily list. Tell turns what
// one cause did into one message for each person and vehicle; Digest turns the
// parts of a due list into a person's list; Turns says whose list is due by the
// clock. All three are functions of what they are given: the same transitions
// make the same messages, to the byte.
//
// A Notifier drives them from the log of transitions. It composes each message
// once and creates it in the Store as a Delivery under a key made of cause,
// vehicle, person and way, so that reading the log again makes nothing twice. A
// Queue sends what is stored as it is stored, tries again by class of failure,
// and gives up only in plain sight. How a message is carried is not known here:
// package mail composes and sends.
package notify
