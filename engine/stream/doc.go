// Package stream runs the fold on JetStream: the log of events, the partitions
// that fold it, what they say, and what they must not forget.
//
// [Embed] starts a NATS server inside the process, [Join] connects to a given
// one; [Open] makes or checks the streams and returns the [Log]; [Start] folds.
//
//	srv, err := stream.Embed(ctx, stream.ServerConfig{Dir: dir})
//	log, err := stream.Open(ctx, srv.Conn(), stream.LogConfig{})
//	svc, err := stream.Start(ctx, log, stream.Config{Compile: compile})
//	…
//	svc.Stop(ctx)
//	srv.Close()
//
// Streams and subjects:
//
//	EVENTS      telltale.in.<vehicle>.<kind>, stored as telltale.event.<p>.<vehicle>.<kind>;
//	            telltale.all.<kind> for ticks, books, turns, surveys and baselines, which every partition folds
//	ALARMS      telltale.alarm.<p>: all that the owner of partition p says, see [Message]
//	STATE       telltale.state.<p>.checkpoint, telltale.state.<p>.record.<vehicle>
//	BOOKS       telltale.book.<hash>, telltale.book.<hash>.<file>,
//	            telltale.book.baselines.<hash>, telltale.book.baselines.<hash>.<piece>
//	DELIVERIES  telltale.delivery.<key>, telltale.notify
//
// What is promised: an event that was acknowledged is stored. A partition
// publishes what an event brought about before it writes the records, and the
// records before the checkpoint, so that a crash between two of them has the
// events folded again, silently up to the last message on telltale.alarm.<p>:
// each output is published once. Two owners of one partition cannot both
// publish, since each message expects the one before it to be the owner's own.
package stream
