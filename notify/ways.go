package notify

import (
	"encoding/json"

	"telltale/engine/alarm"
	"telltale/engine/intake"
)

// notice is what a program is told: the data of a CloudEvent.
type notice struct {
	To          string              `json:"to"` // the person of people.yaml
	Cause       string              `json:"cause"`
	Transitions []*alarm.Transition `json:"transitions"`
}

// tell has the message say the data to a program: as a CloudEvent whose identity is
// the message's key.
func (m *Message) tell(kind string, data any) {
	m.Data, _ = json.Marshal(intake.CloudEvent{ // a transition holds no NaN: it has been through JSON
		SpecVersion: intake.SpecVersion, Type: "telltale." + kind + ".v1", Source: "/telltale", ID: m.Key, Subject: m.Vehicle,
		Time: m.Time.UTC(), ContentType: "application/json", Data: data,
	})
}

// told is the message for a program: one CloudEvent for one cause and vehicle.
func (t telling) told(c Cause) Message {
	lead := t.mine[0]
	m := t.p.by(t.way, key("alarm", c.Key, lead.Vehicle, t.p.ID, t.way), c.Key, c.Time)
	m.Subject, m.Vehicle, m.Stage = subjectOf(lead), lead.Vehicle, lead.To
	m.Thread = key("thread", lead.Vehicle, t.p.ID, t.way)
	data := notice{To: t.p.ID, Cause: c.Key}
	for _, n := range t.mine[:min(len(t.mine), maxBlocks)] {
		data.Transitions = append(data.Transitions, n.Transition)
	}
	m.tell("told", data)
	return m
}
