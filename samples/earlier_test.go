package samples_test

import (
	"encoding/json"
	"testing"

	"telltale/engine"
	"telltale/engine/sample"
)

// TestEarlierSamples: a sample is read later as it was read when it came, but for what
// follows of the latest alone, unless something earlier was reported behind it, or it came
// while the vehicle was out of service.
func TestEarlierSamples(t *testing.T) {
	f := sampleYear(t)
	same, earlier := 0, 0
	for _, vehicle := range f.partition.Vehicles() {
		for _, l := range f.partition.AskedBy(engine.Asker{}).Samples(vehicle, "") {
			now := numbered(t, f.partition, vehicle, l)
			if l.Stage != now.Stage || l.Judged != now.Judged || l.Drawn != now.Drawn {
				t.Errorf("%s: listed as %+v, read as %s", l.Number, l, now.Text())
			}
			came, ok := f.came[l.Sample]
			if !ok || f.late[l.Sample] {
				continue
			}
			same++
			if now.Earlier {
				earlier++
				came.Earlier, came.FollowUps, came.Forecast, came.Offer, came.NoOffer = true, nil, nil, nil, ""
			}
			if text(t, came) != text(t, now) {
				t.Errorf("%s, %s: when it came\n%s\nnow\n%s", vehicle, l.Number, came.Text(), now.Text())
			}
		}
	}
	if same < 24 || earlier < 10 {
		t.Errorf("only %d samples were compared, %d earlier ones", same, earlier)
	}
}

func numbered(t *testing.T, p *engine.Partition, vehicle string, l sample.Line) sample.Verdict {
	t.Helper()
	for _, v := range p.AskedBy(engine.Asker{}).Numbered(vehicle, l.Component, l.Number) {
		if v.Sample == l.Sample {
			return v
		}
	}
	t.Fatalf("%s has no sample %s of the %s", vehicle, l.Number, l.Component)
	return sample.Verdict{}
}

func text(t *testing.T, v sample.Verdict) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
