package operator

import (
	"cmp"
	"context"
	"fmt"
	"strings"
	"time"

	"telltale/engine/stream"
	"telltale/engine/stream/audit"
	"telltale/engine/stream/service"
	"telltale/notify/board/frame"
	"telltale/notify/board/signin/passkey"
	"telltale/notify/delivery"
	"telltale/notify/wording"
	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// trouble is something that an operator must see to.
type trouble struct{ What, Do string }

type partition struct {
	N, Vehicles, Events, Lag, Refused string
	Owner, Saved, Fault               string
	Epoch                             uint64
}

type size struct {
	Name, What, Messages, Bytes, Most, First, Last string
}

type servicePage struct {
	Troubles   []trouble
	Facts      []headed
	Partitions []partition
	Sizes      []size
	Replicas   []string
	Faults     string // of the folder's files
}

// streams says what each stream holds.
var streams = map[string]string{
	stream.EventsStream:     "what was reported",
	stream.AlarmsStream:     "what was said of it, three years of it",
	stream.SaidStream:       "the same, by vehicle",
	stream.StateStream:      "what is known of each vehicle",
	stream.BooksStream:      "rules and baselines that were in force",
	stream.DeliveriesStream: "messages to people, 400 days of them",
	audit.Stream:            "who did what, 400 days of it",
}

// service says whether the service runs.
func (s *site) service(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	h := s.Service.HealthOfAll(ctx)
	sizes, err := s.Log.Sizes(ctx)
	if err != nil {
		return nil, err
	}
	waits, err := s.deliveries.Page(ctx, delivery.Query{State: delivery.Waiting, Limit: 1})
	if err != nil {
		return nil, err
	}
	data := servicePage{Replicas: h.Replicas}
	tell := teller{s, r.Viewer, &data, time.Now()}
	tell.health(&h)
	tell.sizes(sizes)
	if err := tell.trail(ctx); err != nil {
		return nil, err
	}
	tell.messages(waits)
	tell.folder()
	tell.certificate()
	tell.disk()
	if s.Door != nil {
		if _, why := passkey.PartyOf(s.URL); why != "" {
			tell.fact("Passkeys", why)
		}
	}
	p := &frame.Page{Section: frame.More, Title: "The service", Lead: "It runs, and nothing needs seeing to.", Missing: h.Unanswered}
	if n := len(data.Troubles); n > 0 {
		p.Lead = english.Capital(english.Counted(n, "thing needs", "things need")) + " seeing to."
	}
	p.Body, err = templates.Body("service", data)
	return p, err
}

// teller fills the page in.
type teller struct {
	*site
	who  frame.Viewer
	page *servicePage
	wall time.Time // the machine's clock, by which the service does its own work
}

func (t *teller) fact(name, text string) {
	if text != "" {
		t.page.Facts = append(t.page.Facts, headed{name, text})
	}
}

func (t *teller) trouble(what, do string) {
	t.page.Troubles = append(t.page.Troubles, trouble{what, do})
}

func (t *teller) health(h *service.Health) {
	t.fact("Version", h.Program)
	t.fact("Rules in force", rules.ShortHash(h.Book))
	if h.Book == "" {
		t.trouble("No rules are in force.", "Put rule files into the folder's rules/, or run telltale adopt. Until then nothing is judged.")
	}
	switch {
	case h.Now.IsZero() || h.Now.Equal(stream.Unclocked):
		t.fact("Clock", "not set yet")
	case h.EventsClock:
		t.fact("Clock", moment(t.who, h.Now)+", as the events have it")
	default:
		t.fact("Clock", moment(t.who, h.Now)+", the last quarter of an hour that was looked at")
	}
	if t.Own.Suspect != nil && t.Own.Suspect() {
		t.trouble("The machine's clock jumped, so work by the calendar is paused.", "Set the clock. If it is right now, restart the service.")
	}
	t.fact("Log", cmp.Or(t.Own.NATS, "in this process"))
	if len(h.Replicas) > 0 {
		t.fact("Replicas", english.Plural(len(h.Replicas), "replica")+": "+english.List("and", h.Replicas))
	}
	vehicles := 0
	for _, p := range h.Partitions {
		vehicles += p.Vehicles
		t.page.Partitions = append(t.page.Partitions, partition{N: fmt.Sprint(p.Partition), Vehicles: grouped(p.Vehicles), Events: grouped(p.Events),
			Lag: grouped(int(p.Lag)), Refused: grouped(p.Refused), Owner: p.Owner, Saved: moment(t.who, p.Saved), Fault: p.Fault, Epoch: p.Epoch})
		if p.Fault != "" {
			t.trouble(fmt.Sprintf("Partition %d has ended: %s.", p.Partition, strings.TrimSuffix(p.Fault, ".")), "Restart the service. If it ends again, report the words as they stand here.")
		}
		if p.Epoch > 1 {
			t.fact(fmt.Sprintf("Partition %d", p.Partition), fmt.Sprintf("the log of events went back or was made anew %s; look for what gateways sent in between", english.Counted(int(p.Epoch-1), "time", "times")))
		}
	}
	t.fact("Vehicles", grouped(vehicles)+" with a record when it was last written")
	if !h.Ready && len(h.Unanswered) == 0 {
		t.trouble("It is still reading what lies in the log.", "Wait; pages show what is read so far.")
	}
	if n := len(h.Unanswered); n > 0 {
		t.trouble(english.Plural(n, "partition")+" did not answer.", "Another replica takes them over within seconds. If they stay away, look whether a replica has ended.")
	}
}

func grouped(n int) string { return unit.Grouped(float64(n)) }

func (t *teller) sizes(list []stream.Size) {
	for _, z := range list {
		one := size{Name: z.Stream, What: streams[z.Stream], Messages: grouped(int(z.Messages)), Bytes: bytesOf(z.Bytes), First: moment(t.who, z.First), Last: moment(t.who, z.Last)}
		if z.MaxBytes > 0 {
			one.Most = bytesOf(z.MaxBytes)
			if z.Bytes > z.MaxBytes/10*9 {
				t.trouble(fmt.Sprintf("The log of events is nearly full: %s of %s.", one.Bytes, one.Most),
					"Raise max log in telltale.yaml and restart. When it is full, new events are refused and none is dropped.")
			}
		}
		t.page.Sizes = append(t.page.Sizes, one)
	}
}

// trail says how much is kept of who did what.
func (t *teller) trail(ctx context.Context) error {
	if t.Audit == nil {
		return nil
	}
	one, waiting, err := t.Audit.Size(ctx)
	if err != nil {
		return err
	}
	t.sizes([]stream.Size{one})
	if waiting > 0 {
		t.trouble(english.Counted(waiting, "entry", "entries")+" of who did what could not be stored.", "Look whether the disk is full. They are in the program's log, and are stored once there is room.")
	}
	return nil
}

// late is from when on a message that waits is trouble, as the operators are told by mail.
const late = time.Hour

func (t *teller) messages(waits delivery.Page) {
	n := waits.States[delivery.Waiting] + waits.States[delivery.Sending]
	text := "none waits"
	if oldest := waits.Oldest; oldest != nil {
		text = fmt.Sprintf("%s; the oldest since %s, to %s", english.Counted(n, "waits", "wait"), moment(t.who, oldest.Created), oldest.Person)
		if t.wall.Sub(oldest.Created) > late {
			t.trouble("A message has waited for more than an hour.", "Look at what the server said, under Messages.")
		}
	}
	t.fact("Messages", text)
	if failed := waits.States[delivery.Failed]; failed > 0 {
		t.trouble(notDelivered(failed), "Look at them under Messages, and put the addresses right.")
	}
	for _, h := range t.heldWays() {
		t.trouble(fmt.Sprintf("Nothing goes out by %s: %s.", h.Way, strings.TrimSuffix(h.Why, ".")), "Put telltale.yaml right and restart the service. What waits is sent then.")
	}
}

func (t *teller) folder() {
	if t.Own.Folder == nil {
		return
	}
	faults, read := t.Own.Folder()
	t.fact("Folder", "read "+moment(t.who, read))
	if faults != "" {
		t.page.Faults = faults
		t.trouble("The folder's files have faults.", "What was in force before stays in force. Put right what stands below; the files are read again by themselves.")
	}
}

// certificate says when it ends, and what is wrong with its files.
func (t *teller) certificate() {
	if t.Own.Certificate == nil {
		return
	}
	ends, of, fault := t.Own.Certificate()
	t.fact("Certificate", "for "+english.List("and", of)+", until "+moment(t.who, ends))
	left := ends.Sub(t.wall)
	if left <= time.Duration(wording.NearlyOver[0])*24*time.Hour {
		_, what, do := wording.Certificate(of, t.who.Day(ends), left)
		t.trouble(what, do)
	}
	if fault != "" && left > 0 { // of one that has ended it is said already
		t.trouble(english.Sentence(fault), "The one read before stays in force. Put the files right; they are read again by themselves.")
	}
}

// little is from when on the disk is nearly full: a tenth, and less than a gigabyte.
const little = 1 << 30

func (t *teller) disk() {
	if t.Own.Disk == nil {
		return
	}
	free, all, err := t.Own.Disk()
	if err != nil {
		t.trouble("How much of the disk is free cannot be told: "+err.Error()+".", "Look whether the disk is there.")
		return
	}
	t.fact("Disk", fmt.Sprintf("%s free of %s", bytesOf(free), bytesOf(all)))
	if free < little && free < all/10 {
		t.trouble("The disk is nearly full.", "Make room. When it is full, new events are refused until there is room; senders keep them.")
	}
}

// bytesOf writes a size in the next unit by 1,024.
func bytesOf(n uint64) string {
	v, units := float64(n), []string{"B", "KiB", "MiB", "GiB", "TiB"}
	for len(units) > 1 && v >= 1024 {
		v, units = v/1024, units[1:]
	}
	return english.Short(v) + " " + units[0]
}
