package notify

import (
	"encoding/json"
	"net/url"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/engine"
	"telltale/engine/intake"
)

// wayNames are the ways by which someone can be told; mail is for people, the
// others are for their programs, which get the transitions as they are.
var wayNames = []string{"mail", "webhook", "nats", "file"}

// to is where a way leads for the person; "" where it does not.
func (p *Person) to(way string) string {
	switch way {
	case "mail":
		return p.Mail
	case "webhook":
		return p.Webhook
	case "nats":
		return p.NATS
	case "file":
		return p.File
	}
	return ""
}

func (p *Person) ways() []string {
	return slices.DeleteFunc(slices.Clone(wayNames), func(way string) bool { return p.to(way) == "" })
}

// ways are those by which the person hears of it at once.
func (d *Directory) ways(p *Person, s *subject) []string {
	if how, _ := d.hears(p, s); how != atOnce {
		return nil
	}
	var out []string
	for _, e := range d.entries {
		if e.when != atOnce || !e.matches(p.ID, s) {
			continue
		}
		if len(e.by) == 0 {
			return p.ways()
		}
		out = append(out, e.by...)
	}
	return slices.DeleteFunc(p.ways(), func(way string) bool { return !slices.Contains(out, way) })
}

// machineWays reads the ways other than mail.
func (r *reader) machineWays(p *Person, m map[string]*yaml.Node) {
	if n := m["webhook"]; n != nil {
		w := r.Mapping(n, "webhook", "url", "secret file")
		p.Webhook, p.SecretFile = r.Text(w["url"], "url"), r.Text(w["secret file"], "secret file")
		u, err := url.Parse(p.Webhook)
		if err != nil || u.Scheme != "https" && u.Scheme != "http" || u.Host == "" || u.User != nil || len(p.Webhook) > 2000 {
			r.Fault(n, "write it like https://fleet.example.org/hook, without a password", "webhook url %q cannot be called", clean(p.Webhook, 200))
		}
		if p.SecretFile == "" {
			r.Fault(n, "name a file that holds whsec_ and the secret in base64", "webhook has no secret file to sign with")
		}
	}
	p.NATS, p.File = r.Text(m["nats"], "nats"), r.Text(m["file"], "file")
	if s := p.NATS; s != "" && (strings.ContainsAny(s, " *>\t\r\n") || slices.Contains(strings.Split(s, "."), "") || s == "telltale" || strings.HasPrefix(s, "telltale.") || strings.HasPrefix(s, "$")) {
		r.Fault(m["nats"], "write it like fleet.alarms", "nats %q is not a subject of your own", clean(s, 200))
	}
}

// notice is what a program is told: the data of a CloudEvent.
type notice struct {
	To          string               `json:"to"` // the person of people.yaml
	Cause       string               `json:"cause"`
	Transitions []*engine.Transition `json:"transitions"`
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
	m := Message{
		Key: key("alarm", c.Key, lead.Vehicle, t.p.ID, t.way), Cause: c.Key, Person: t.p.ID, Name: t.p.Name, Way: t.way, To: t.p.to(t.way),
		Subject: clean(vehicleName(lead.about.Vehicle, lead.Vehicle)+inComponent(lead.Component)+": "+titleOf(lead.Transition), 120),
		Thread:  key("thread", lead.Vehicle, t.p.ID, t.way),
		Time:    c.Time, Vehicle: lead.Vehicle, Stage: lead.To,
	}
	data := notice{To: t.p.ID, Cause: c.Key}
	for _, n := range t.mine[:min(len(t.mine), maxBlocks)] {
		data.Transitions = append(data.Transitions, n.Transition)
	}
	m.tell("told", data)
	return m
}

// groups reads the names for several people that who may use.
func (r *reader) groups(n *yaml.Node, people map[string]*Person) map[string][]string {
	out := map[string][]string{}
	if n == nil {
		return out
	}
	for _, p := range r.Entries(n, "groups") {
		if people[p.Key.Value] != nil || p.Key.Value == theirOwn {
			r.Fault(p.Key, "", "group %q has the name of someone in people", p.Key.Value)
		}
		e := &entry{}
		r.who(e, p.Value, people)
		if e.own || len(e.who) == 0 {
			r.Fault(p.Key, "", "group %q must name people", p.Key.Value)
		}
		out[p.Key.Value] = e.who
	}
	return out
}
