package notify

// Rewind has the notifier go on after seq, the end of a log that went back: what
// comes under the sequences that it knows is not what it has handled. It is called
// after Start.
func (n *Notifier) Rewind(seq uint64) { n.mark.Seq, n.mark.Done, n.last = seq, seq, seq }
