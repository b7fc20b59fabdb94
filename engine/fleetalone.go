package engine

import "time"

// alone is how far a partition that holds a whole fleet has made its baselines.
type alone struct {
	last   time.Time // of the survey
	asked  string    // by which definitions
	number int
}

// SurveyMonthly has a partition that holds a whole fleet, as of a file, make the
// fleet's baselines by itself, as the service does: at the first tick of each month
// UTC, and at the first after the book asks for others. A file that holds baseline
// events is folded with those alone, without this.
func (p *Partition) SurveyMonthly() { p.alone = &alone{} }

func (p *Partition) surveyAlone() {
	a := p.alone
	if a == nil || p.asks == "" || a.asked == p.asks && p.law.Now.Before(nextMonth(a.last)) {
		return
	}
	a.last, a.asked = p.law.Now, p.asks
	a.number++
	set := p.SurveyNow(p.law.Now, a.number)
	p.fleet = inForce{set.Hash(), set}
}

// SurveyNow makes the baselines of a partition that holds a whole fleet, as of a
// moment, by the book in force, which must be there.
func (p *Partition) SurveyNow(now time.Time, number int) *FleetSet {
	at := Event{Kind: SurveyEvent, Time: now, Recorded: now}
	part := p.survey(at, &SurveyData{Turn: now.UTC().Format(time.RFC3339)})
	return FleetBaselines(p.law.Book, number, []SurveyPart{*part})
}

func nextMonth(t time.Time) time.Time {
	t = t.UTC()
	return time.Date(t.Year(), t.Month()+1, 1, 0, 0, 0, 0, time.UTC)
}
