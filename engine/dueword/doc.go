// Package dueword says of a task or follow-up that was judged where it stands: in a
// sentence, as what an alarm keeps of its due point, and as the events behind it. It only
// reads a [judge.View] and what that made of a [judge.Due]; it moves nothing.
package dueword
