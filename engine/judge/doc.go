// Package judge says what a vehicle's record comes to, by the rule book in force and at
// a moment.
//
// A [View] joins a record with a [Law], which is the book and the clock. It only reads:
// whoever explains something to a person asks a View and cannot fold an event. What a
// View derives it keeps to itself, so two of them never disagree and none is shared.
//
// What may be asked of it:
//
//   - What applies. [View.Applied] is the part of the book that the vehicle's
//     registration lets in; [View.Key] names a rule's or task's alarm on a component.
//   - Rules. [View.Judgements] are the places in the vehicle's history at which a rule is
//     judged; [View.Step] judges it at one of them and moves its latch, [View.Walk] at
//     all. [View.FactsAt] gives the [Facts] that a rule asks of one place; how each word
//     is answered stands in answers.go. [View.RuleWords] fills in what an alarm says.
//   - Tasks. [View.EachTask] gives a [Due] for every task and follow-up that stands: what
//     it counts from, its due point after postponements and pull-ins, and, once
//     [View.JudgeDue] has judged it, its stage. Package dueword says it in words.
//   - Samples. [View.Timeline] is a component's fluid, sample by sample and exchange by
//     exchange.
//   - Words. [View.Amount] and its fellows write values in the reader's units.
//
// The order in which a View is asked makes no difference to its answers.
package judge
