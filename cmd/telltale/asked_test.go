package main

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/nats-io/nats.go"

	"telltale/engine/stream/service"
)

// TestCommandsAskForOneVehicle has commands about one vehicle ask for that one's registration
// and not for the whole register, which of 100,000 vehicles is 50 MB.
func TestCommandsAskForOneVehicle(t *testing.T) {
	t.Parallel()
	server := natsServer(t)
	a := joined(t, server)
	if code, _, said := told(t, "adopt", a.fleet.dir); code != 0 {
		t.Fatal(said)
	}
	if !poll(patience, func() bool { // until it is folded, the name is looked for among all
		v, err := a.svc.Registered(t.Context(), "bus-04")
		return err == nil && v != nil
	}) {
		t.Fatal("bus-04 is not registered")
	}
	nc, err := nats.Connect(server)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	asked, err := nc.SubscribeSync("telltale.query.register")
	if err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{
		{"record", "bus-03", "--odometer", "1000km", "--on", "2031-02-01"},
		{"record", "BUS 3", "--odometer", "1100km", "--on", "2031-02-02"}, // by its name
		{"due", "--vehicle", "bus-05"},
		{"alarms", "--vehicle", "bus 5"},
		{"due", "--tag", "depot=north"}, // which no vehicle has
		{"undo", "bus-03"},
		{"out", "bus-04", "--why", "flat tyre"},
		{"events", "--vehicle", "bus-04"},
	} {
		_, _, said := told(t, append(args, "--nats", server)...)
		if err := nc.Flush(); err != nil {
			t.Fatal(err)
		}
		for {
			m, err := asked.NextMsg(0)
			if err != nil {
				break
			}
			var q service.Question
			if err := json.Unmarshal(m.Data, &q); err != nil || q.Vehicle == "" {
				t.Errorf("telltale %s asks for the register of %q (%v)\n%s", strings.Join(args, " "), m.Data, err, said)
			}
		}
	}
}
