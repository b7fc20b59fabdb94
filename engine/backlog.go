package engine

import (
	"time"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/meter"
	"telltale/engine/record"
)

// oldSampleAfter is how long after it was drawn a sample is old when it is reported: no
// laboratory takes two months, so what comes later is the past being typed in. Common
// practice, no source.
const oldSampleAfter = 60 * 24 * time.Hour

// backlog is what the event is part of, if it is no news of the moment.
func (f *fold) backlog() alarm.Backlog {
	ev := &f.ev
	switch ev.Kind {
	case event.VehicleEvent:
		return alarm.Registered
	case event.BookEvent:
		return alarm.NewRules
	case event.TickEvent:
		return f.p.paused
	case event.ServiceEvent:
		if record.Old(ev.Time, f.When) {
			return alarm.OldWork
		}
	case event.SampleEvent:
		if f.When.Sub(ev.Time) > oldSampleAfter {
			return alarm.OldSample
		}
	case event.ReadingEvent:
		if meter.Backlog(ev.Time.Unix(), f.When.Unix()) {
			return alarm.LateReading
		}
	}
	return 0
}
