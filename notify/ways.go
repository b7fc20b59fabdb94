package notify

import (
	"encoding/json"
	"time"

	"telltale/engine"
)

// notice is what a program is told: the data of a CloudEvent.
type notice struct {
	To          string               `json:"to"` // the person of people.yaml
	Cause       string               `json:"cause"`
	Transitions []*engine.Transition `json:"transitions"`
}

// cloudEvent is the envelope: CloudEvents 1.0, JSON, structured.
type cloudEvent struct {
	SpecVersion     string `json:"specversion"`
	Type            string `json:"type"`
	Source          string `json:"source"`
	ID              string `json:"id"`
	Subject         string `json:"subject"`
	Time            string `json:"time"`
	DataContentType string `json:"datacontenttype"`
	Data            notice `json:"data"`
}

// told is the message for a program: one CloudEvent for one cause and vehicle.
func (t telling) told(c Cause) Message {
	lead := t.mine[0]
	m := t.p.by(t.way, key("alarm", c.Key, lead.Vehicle, t.p.ID, t.way), c.Key, c.Time)
	m.Subject, m.Vehicle, m.Stage = subjectOf(lead), lead.Vehicle, lead.To
	m.Thread = key("thread", lead.Vehicle, t.p.ID, t.way)
	ev := cloudEvent{
		SpecVersion: "1.0", Type: "telltale.told.v1", Source: "/telltale", ID: m.Key, Subject: lead.Vehicle,
		Time: c.Time.UTC().Format(time.RFC3339Nano), DataContentType: "application/json", Data: notice{To: t.p.ID, Cause: c.Key},
	}
	for _, n := range t.mine {
		if len(ev.Data.Transitions) == maxBlocks {
			break
		}
		ev.Data.Transitions = append(ev.Data.Transitions, n.Transition)
	}
	m.Data, _ = json.Marshal(ev) // a transition holds no NaN: it has been through JSON
	return m
}
