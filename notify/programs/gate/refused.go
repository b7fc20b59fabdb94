package gate

import (
	"slices"
	"time"

	"telltale/engine/stream/server"
	"telltale/notify/people"
	"telltale/notify/programs"
)

// Refused is what a program tried and may not.
type Refused struct {
	// Count is how often since the service was started.
	Count int
	// At, Subject and Why are of the last time; Subject is "" where it was not let in.
	At           time.Time
	Subject, Why string

	said   time.Time // when the log said so last
	unsaid int       // how often since then
}

// sayAgain is how long the log says nothing more of a program that goes on trying.
const sayAgain = time.Minute

// tally counts refusals by program; all that nobody knows are one.
type tally struct{ of map[string]*Refused }

// note counts one more; say is how many the log is to tell of now, 0 for nothing yet.
func (t *tally) note(id string, at time.Time, subject, why string) (say int) {
	r := t.of[id]
	if r == nil {
		r = &Refused{}
		t.of[id] = r
	}
	r.Count, r.unsaid = r.Count+1, r.unsaid+1
	r.At, r.Subject, r.Why = at, subject, why
	if !r.said.IsZero() && at.Sub(r.said) < sayAgain {
		return 0
	}
	say, r.unsaid, r.said = r.unsaid, 0, at
	return say
}

// Refuse takes in what the server refused, and says so in the log: at once, and then of each
// program once a minute.
func (g *Gate) Refuse(r server.Refusal) {
	g.mu.Lock()
	p := g.byKey(r.Key)
	id := ""
	if p != nil {
		id = p.ID
	}
	why := programs.Why(p, r.Subject, r.Hear, g.vehicles)
	closed := g.closed(g.people)
	say := g.refused.note(id, r.At, r.Subject, why)
	g.mu.Unlock()
	switch {
	case say == 0:
	case p != nil:
		g.log.Warn("a program was refused", "program", id, "subject", r.Subject, "why", why, "from", r.From, "times", say)
	case r.Subject != "":
		g.log.Warn("a client was refused", "subject", r.Subject, "why", why, "from", r.From, "times", say)
	case r.Key == "":
		g.log.Warn("a client without a key was not let in", "from", r.From, "times", say, "hint", "telltale programs add makes one; on this machine, name the folder with --dir")
	case closed:
		g.log.Warn("a client was not let in", "key", r.Key, "why", why, "from", r.From, "times", say, "hint", "if it is a program of yours, write its key into people.yaml, under programs")
	default:
		g.log.Warn("a client was not let in", "key", r.Key, "why", "people.yaml names no programs, so the server knows no keys", "from", r.From, "times", say)
	}
}

// Refused takes in what a program tried over HTTP and may not.
func (g *Gate) Refused(p *people.Program, at time.Time, subject, why, from string) {
	g.mu.Lock()
	say := g.refused.note(p.ID, at, subject, why)
	g.mu.Unlock()
	if say > 0 {
		g.log.Warn("a program was refused", "program", p.ID, "subject", subject, "why", why, "from", from, "times", say)
	}
}

// ByToken is the program that has the token; nil where none has, which is noted.
func (g *Gate) ByToken(token, from string) *people.Program {
	g.mu.Lock()
	id, say, known := g.tokens.Whose(token), 0, []*people.Program(nil)
	if known = g.people.Programs(); id == "" {
		say = g.refused.note("", time.Now(), "", "no program in people.yaml has its token")
	}
	g.mu.Unlock()
	if say > 0 {
		g.log.Warn("a client without a token that is known was not let in", "from", from, "times", say)
	}
	i := slices.IndexFunc(known, func(p *people.Program) bool { return id != "" && p.ID == id })
	if i < 0 {
		return nil
	}
	return known[i]
}

// byKey is the program of a key; nil where there is none.
func (g *Gate) byKey(key string) *people.Program {
	for _, p := range g.people.Programs() {
		if key != "" && p.Key == key {
			return p
		}
	}
	return nil
}
