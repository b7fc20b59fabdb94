package operator

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"time"

	"telltale/engine/stream/service"
	"telltale/notify"
	"telltale/notify/board/frame"
	"telltale/notify/delivery"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/rules/unit"
)

// sentLine is a message on the page.
type sentLine struct {
	delivery.Delivery
	Path, Name, Made, Next, State string
	Failed                        bool // it is tried no more
	Do                            string
}

type count struct {
	Word, Path string
	N          string
	Is         bool
}

type deliveriesPage struct {
	State, Person, Way, Vehicle string
	People                      []*people.Person
	Ways                        []string
	Counts                      []count
	Held                        []held
	Lines                       []sentLine
	Count, Back, Next           string
	Size                        int
	Left                        []leftLine
}

// held is a way by which nothing goes out.
type held struct{ Way, Why string }

// leftLine is somebody who asked for no more.
type leftLine struct{ Name, What, Since string }

var states = []delivery.State{delivery.Failed, delivery.Waiting, delivery.Sending, delivery.Sent}

// deliveryList is who was told of what, and whether it arrived.
func (s *site) deliveryList(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	q := r.URL.Query()
	data := deliveriesPage{State: q.Get("state"), Person: q.Get("person"), Way: q.Get("way"), Vehicle: q.Get("vehicle"),
		People: s.People().People(), Ways: people.WayNames(), Held: s.heldWays(), Size: perPage}
	asked := delivery.Query{Person: data.Person, Way: data.Way, State: delivery.State(data.State), After: q.Get("after"), Limit: perPage}
	p := &frame.Page{Section: frame.More, Title: "Messages", Lead: "Who was told, and did it arrive?"}
	if data.Vehicle != "" {
		names, err := s.Service.Names(ctx, data.Vehicle)
		if p.Missing, err = frame.Missing(err); err != nil {
			return nil, err
		}
		if asked.Names = names; names == nil {
			asked.Names = []string{data.Vehicle}
		}
	}
	got, err := s.deliveries.Page(ctx, asked)
	if err != nil {
		return nil, err
	}
	at := func(state, after string) string {
		next := url.Values{}
		for k, v := range map[string]string{"state": state, "person": data.Person, "way": data.Way, "vehicle": data.Vehicle, "after": after} {
			if v != "" {
				next.Set(k, v)
			}
		}
		return "/deliveries?" + next.Encode()
	}
	for _, state := range states {
		data.Counts = append(data.Counts, count{stateWord[state], at(string(state), ""), unit.Grouped(float64(got.States[state])), data.State == string(state)})
	}
	for i := range got.Lines {
		data.Lines = append(data.Lines, s.sentLine(r.Viewer, &got.Lines[i]))
	}
	data.Count = messages(got.Total)
	if got.Next != "" {
		data.Next = at(data.State, got.Next)
	}
	if asked.After != "" {
		data.Back = at(data.State, "")
	}
	if data.Left, err = s.left(ctx, r); err != nil {
		return nil, err
	}
	if n := got.States[delivery.Failed]; n > 0 {
		p.Lead = notDelivered(n)
	}
	p.Body, err = templates.Body("deliveries", data)
	return p, err
}

func (s *site) heldWays() (out []held) {
	if s.Own.Held == nil {
		return nil
	}
	ways := s.Own.Held()
	for _, way := range slices.Sorted(maps.Keys(ways)) {
		out = append(out, held{way, ways[way]})
	}
	return out
}

func (s *site) sentLine(who frame.Viewer, d *delivery.Delivery) sentLine {
	l := sentLine{Delivery: *d, Path: frame.Path("deliveries", d.Key), Name: d.Person, Made: moment(who, d.Time), State: stateWord[d.State],
		Failed: d.State == delivery.Failed, Do: whatToDo(d)}
	if d.Time.IsZero() {
		l.Made = moment(who, d.Created)
	}
	l.Subject = page.Clean(cmp.Or(d.Subject, d.Cause), 200)
	l.Name, l.To, l.Way, l.LastError = page.Clean(d.Person, 100), page.Clean(d.To, 200), page.Clean(d.Way, 50), page.Clean(d.LastError, 500)
	if d.State == delivery.Waiting && d.Attempts > 0 {
		l.Next = moment(who, d.NextTry)
	}
	if p := s.People().Person(d.Person); p != nil {
		l.Name = p.Name
	}
	return l
}

// left are those who asked for no more mails of a kind.
func (s *site) left(ctx context.Context, r *frame.Request) (out []leftLine, err error) {
	list, err := notify.WhoLeft(ctx, s.Log.Deliveries())
	for _, l := range list {
		line := leftLine{l.Person, kindWord[l.Kind], r.Viewer.Day(l.Since)}
		if p := s.People().Person(l.Person); p != nil {
			line.Name = p.Name
		}
		out = append(out, line)
	}
	return out, err
}

// delivery is the one that the address names, with what was sent.
func (s *site) delivery(ctx context.Context, r *frame.Request) (d delivery.Delivery, err error) {
	body, err := s.Log.Deliveries().Get(ctx, r.PathValue("key"))
	switch {
	case err != nil:
		return d, err
	case body == nil:
		return d, frame.NotFound
	}
	return d, json.Unmarshal(body, &d)
}

// message shows a message as it was sent.
func (s *site) message(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	d, err := s.delivery(ctx, r)
	if err != nil {
		return nil, err
	}
	data := struct {
		sentLine
		Sent  string
		Head  []headed
		Text  string
		Cut   bool
		Tried bool // it was asked for just now
	}{sentLine: s.sentLine(r.Viewer, &d), Sent: moment(r.Viewer, d.SentAt), Tried: r.URL.Query().Has("tried")}
	if !d.Secret() {
		data.Head, data.Text = asSent(d.Raw)
	}
	data.Text, data.Cut = visible(data.Text)
	p := &frame.Page{Section: frame.More, Title: data.Subject, About: data.Name, Lead: data.State + ".", Up: frame.Link{Words: "Messages", Path: "/deliveries"}}
	p.Body, err = templates.Body("message", data)
	return p, err
}

// raw is the message itself, to save.
func (s *site) raw(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	d, err := s.delivery(ctx, r)
	if err != nil {
		return nil, err
	}
	if d.Secret() {
		return nil, frame.NotFound
	}
	f := &frame.File{Type: "application/json", Name: "message.json", Body: d.Raw}
	if !json.Valid(d.Raw) {
		f.Type, f.Name = "message/rfc822", "message.eml"
	}
	return &frame.Page{File: f}, nil
}

// again has a message tried again, by whichever replica sends.
func (s *site) again(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	d, err := s.delivery(ctx, r)
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	if _, err := service.List[string](ctx, s.Log.Conn, "retry", d.Key); err != nil {
		if !errors.Is(err, service.ErrNoService) {
			s.Logger.Error("trying a message again", "delivery", d.Key, "error", err)
		}
		return nil, &frame.Fault{Status: http.StatusServiceUnavailable, Title: wordNotTried, Words: wordNotTriedDo, After: 30 * time.Second}
	}
	return &frame.Page{To: frame.Path("deliveries", d.Key) + "?tried=1", Noted: "a message was tried again"}, nil
}
