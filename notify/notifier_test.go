package notify

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"reflect"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"telltale/engine"
	"telltale/notify/delivery"
	"telltale/notify/delivery/deliverytest"
	"telltale/notify/people"
)

func newNotifier(t *testing.T, m Store, partitions int) (n *Notifier, next uint64) {
	t.Helper()
	n = &Notifier{Store: m, Register: register, Partitions: partitions, Log: slog.New(slog.NewTextHandler(io.Discard, nil)),
		Compose: map[string]Composer{"mail": func(m Message) (string, []byte, error) {
			if m.Person == "tove" && m.Vehicle != "" {
				return "", nil, errors.New("no such domain")
			}
			return "<" + m.Key + ">", []byte(m.Text), nil
		}}}
	n.SetDirectory(directory(t))
	next, err := n.Start(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return n, next
}

// entry of a log of transitions.
type logged struct {
	c   Cause
	out []engine.Output
}

// aLog has two alarms, and a turn whose parts lie apart with another alarm between.
func aLog() []logged {
	parts := winterList()
	of := func(key string, partition int) Cause {
		return Cause{Key: key, Partition: partition, Time: at("2031-02-19T09:15:00Z")}
	}
	part := func(i int) []engine.Output { return []engine.Output{{Turn: &parts[i]}} }
	return []logged{
		{of("e-1", 0), outputs(copperRaised())},
		{of("turn", 0), part(0)},
		{of("e-2", 1), outputs(coolantRaised())},
		{of("turn", 1), part(1)},
		{of("e-3", 0), outputs(taskOverdue())},
	}
}

func stored(t *testing.T, m delivery.Store) (out []string) {
	t.Helper()
	all, err := delivery.All(t.Context(), m)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range all {
		out = append(out, fmt.Sprintf("%s %s %s", d.Person, d.State, d.Subject))
	}
	slices.Sort(out)
	return out
}

var fromTheLog = []string{
	"ines waiting Look: Bus 7 transmission, copper over baseline",
	"ines waiting Overdue: Bus 7, Roadworthiness inspection",
	"ines waiting Stop: Bus 7 transmission, coolant in the fluid",
	"north waiting Overdue: Bus 7, Roadworthiness inspection",
	"north waiting Stop: Bus 7 transmission, coolant in the fluid",
	"north waiting Stop: Bus 7 transmission, coolant in the fluid, and 7 more (list of 3 Feb 2031)",
	"tove failed Overdue: Bus 7, Roadworthiness inspection",
	"tove failed Stop: Bus 7 transmission, coolant in the fluid",
}

func TestNotifier(t *testing.T) {
	m := &delivery.Memory{}
	n, next := newNotifier(t, m, 2)
	for i, l := range aLog()[next-1:] {
		if err := n.Handle(t.Context(), uint64(i)+next, l.c, l.out); err != nil {
			t.Fatal(err)
		}
	}
	if got := stored(t, m); !reflect.DeepEqual(got, fromTheLog) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(fromTheLog, "\n"))
	}
	if _, next := newNotifier(t, m, 2); next != 6 {
		t.Errorf("goes on at %d, want 6", next)
	}
}

// Every write fails in turn, before or after it is done, and the process starts
// again from its checkpoint: the deliveries are those of a quiet run, each once.
func TestNotifierCrashes(t *testing.T) {
	log := aLog()
	for broken := 1; broken < 20; broken++ {
		for _, after := range []bool{false, true} {
			writes := 0
			m := &failing{Faults: deliverytest.Faults{After: after}}
			m.Fail = func(string) error {
				if writes++; writes == broken {
					return errors.New("crash")
				}
				return nil
			}
			n, seq := newNotifier(t, m, 2)
			for seq <= uint64(len(log)) {
				l := log[seq-1]
				if err := n.Handle(t.Context(), seq, l.c, l.out); err != nil {
					n, seq = newNotifier(t, m, 2)
					continue
				}
				seq++
			}
			if got := stored(t, m); !reflect.DeepEqual(got, fromTheLog) {
				t.Errorf("write %d, after %v: got\n%s", broken, after, strings.Join(got, "\n"))
			}
		}
	}
}

// A partition that does not answer holds a list up for an hour, not for ever.
func TestNotifierPartMissing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := &delivery.Memory{}
		n, _ := newNotifier(t, m, 2)
		log := aLog()
		handle := func(seq uint64, l logged) {
			if err := n.Handle(t.Context(), seq, l.c, l.out); err != nil {
				t.Fatal(err)
			}
		}
		handle(1, log[1])
		time.Sleep(59 * time.Minute)
		handle(2, logged{})
		if got := stored(t, m); got != nil {
			t.Errorf("too early: %q", got)
		}
		time.Sleep(2 * time.Minute)
		handle(3, logged{})
		all, _ := delivery.All(t.Context(), m)
		if len(all) != 1 || !strings.Contains(string(all[0].Raw), "1 of 2 parts") {
			t.Fatalf("got %+v", all)
		}
		handle(4, log[3]) // late
		if _, next := newNotifier(t, m, 2); next != 4 {
			t.Errorf("goes on at %d, want 4", next)
		}
	})
}

// failing is a store of which writes fail.
type failing struct {
	delivery.Memory
	deliverytest.Faults
}

func (f *failing) Create(ctx context.Context, key string, body []byte) (bool, error) {
	return f.Faults.Create(ctx, func() (bool, error) { return f.Memory.Create(ctx, key, body) })
}

func (f *failing) SetCheckpoint(ctx context.Context, body []byte) error {
	return f.Write(ctx, "checkpoint", func() error { return f.Memory.SetCheckpoint(ctx, body) })
}

// sending carries deliveries by a function.
type sending func(d delivery.Delivery) error

func (s sending) Send(_ context.Context, d delivery.Delivery) error { return s(d) }

// What is created goes out, also where only the store's answer was lost.
func TestNotifierToQueue(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, tries := &failing{Faults: deliverytest.Faults{After: true}}, []string{}
		n, _ := newNotifier(t, m, 2)
		s := sending(func(d delivery.Delivery) error { tries = append(tries, d.Key); return nil })
		n.Queue = &delivery.Queue{Store: m, Ways: map[string]delivery.Way{people.Mail: {Sender: s}}, Log: n.Log}
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { n.Queue.Run(ctx); close(done) }()
		lost := false
		m.Fail = func(op string) error {
			if op == "create" && !lost {
				lost = true
				return errors.New("no answer")
			}
			return nil
		}
		l := aLog()[0]
		if err := n.Handle(ctx, 1, l.c, l.out); err == nil {
			t.Error("the error was not returned")
		}
		if err := n.Handle(ctx, 1, l.c, l.out); err != nil {
			t.Error(err)
		}
		time.Sleep(time.Minute)
		cancel()
		<-done
		if len(tries) != 1 {
			t.Errorf("tries %q, want one", tries)
		}
	})
}

// A fault of ours in one message stops no other.
func TestNotifierGoesOn(t *testing.T) {
	m := &delivery.Memory{}
	n, _ := newNotifier(t, m, 2)
	var said strings.Builder
	n.Log = slog.New(slog.NewTextHandler(&said, nil))
	n.Register = func(id string) people.Vehicle {
		if id == "gritter-1" {
			panic("no such register")
		}
		return register(id)
	}
	bad := coolantRaised()
	bad.Vehicle = "gritter-1"
	for i, out := range [][]engine.Output{outputs(bad), outputs(copperRaised())} {
		if err := n.Handle(t.Context(), uint64(i+1), Cause{Key: fmt.Sprint(i)}, out); err != nil {
			t.Fatal(err)
		}
	}
	if got, want := stored(t, m), fromTheLog[:1]; !reflect.DeepEqual(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	if !strings.Contains(said.String(), "telling 0") || !strings.Contains(said.String(), "no such register") {
		t.Errorf("the fault was not logged: %s", said.String())
	}
}
