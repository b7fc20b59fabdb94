// Package service folds the partitions of a log, all or a share of them, publishes
// what they say, and answers questions about what it folds.
//
// [Start] folds; [Service.Respond] answers on telltale.query.*; each list that can be
// asked for is an [Inquiry], which [Inquiry.Ask] asks of a running service.
//
// What is promised: a partition publishes what an event brought about before it
// writes the records, and the records before the checkpoint, so that a crash between
// two of them has the events folded again, silently up to the last message on
// telltale.alarm.<p>: each output is published once. Two owners of one partition
// cannot both publish, since each message expects the one before it to be the
// owner's own.
package service
