package boardtest

import (
	"testing"

	"telltale/engine/stream/service"
)

func TestMain(m *testing.M) { Main(m) }

func TestSample(t *testing.T) {
	f := Sample(t)
	due, err := service.Due.Of(t.Context(), f.Service, service.Question{})
	if err != nil || len(due) == 0 {
		t.Errorf("%d lines due (%v)", len(due), err)
	}
	alarms, err := service.Alarms.Of(t.Context(), f.Service, service.Question{})
	if err != nil || len(alarms) <= len(due) {
		t.Errorf("%d alarms (%v) beside %d lines due", len(alarms), err, len(due))
	}
	for _, d := range due {
		t.Log(d.Stage, d.Vehicle, d.Task)
	}
	for _, a := range alarms {
		t.Log(a.To, a.Vehicle, a.Rule, a.Standing)
	}
}
