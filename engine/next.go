package engine

import (
	"math"
	"slices"
	"time"

	"telltale/engine/record"
	"telltale/rules"
)

// settle notes the next moment at which a tick can change something, in Unix
// seconds, and what readings cannot.
func (f *fold) settle() {
	r := f.Rec
	reg := r.Registered()
	switch {
	case reg == nil:
		r.Next = record.Seconds(r.FirstSeen) + int64(unregisteredFor/time.Second) + 1
	case f.Book == nil || reg.Retired || r.Out:
		r.Next = math.MaxInt64
	case f.unclocked():
		r.Next = 0
	case !f.whole:
		r.Next = min(r.Next, f.nextOfAlarms())
	default:
		for i := range f.judged {
			f.judged[i].calendar = f.NextByCalendar(&f.judged[i].Due)
		}
		r.Next = f.nextChange()
		f.quiet = f.drawQuiet()
		if f.quiet != nil {
			f.dropDerived()
		}
	}
}

// dropDerived frees what can be made again when it is asked for.
func (f *fold) dropDerived() {
	f.Rec.DropChains()
	f.Kept = nil
}

func (f *fold) nextChange() int64 {
	onClock := func(ar rules.AppliedRule) bool { return ar.Rule.On&rules.OnClock != 0 }
	if f.Now.IsZero() || slices.ContainsFunc(f.Applied().Rules.Rules, onClock) {
		return 0
	}
	next := f.nextOfAlarms()
	for i := range f.judged {
		next = min(next, f.judged[i].calendar, f.NextByUsage(&f.judged[i].Due))
	}
	chains := f.Rec.Chains()
	for i := range chains {
		next = min(next, f.NextOfMeter(&chains[i]))
	}
	return next
}

func (f *fold) nextOfAlarms() int64 {
	next := int64(math.MaxInt64)
	for i := range f.Rec.Alarms {
		next = min(next, f.Rec.Alarms[i].NextChange())
	}
	return next
}
