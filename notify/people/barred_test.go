package people

import (
	"slices"
	"strings"
	"testing"
)

func TestBarred(t *testing.T) {
	const who = "people:\n  ines: {mail: ines@larkfell.example}\n  north: {mail: north@larkfell.example}\n  tomas: {subject: tomas.reed, webhook: {url: \"https://larkfell.example/hook\", secret file: hook}}\n"
	const office = "  the office: {who: [ines], may: operator}\n"
	const key = "  gateway-3: {key: UA3QTDOAUZOTDKBNIXNZUHAOVGMDQX36MEA4TAPCNZIVRNMU2EZJGDJI, sends: [reading], where: 'vehicle.tags[\"depot\"] == \"%\"'}\n"
	vehicles := []Vehicle{
		{ID: "bus-07", Kind: "minibus", Tags: map[string]string{"depot": "north"}},
		{ID: "van-1", Kind: "van", People: []string{"tomas"}},
	}
	own, shop := "  keepers: {who: [people of the vehicle], may: driver}\n", "  shop: {who: [north], may: workshop, where: 'vehicle.tags[\"depot\"] == \"north\"'}\n"
	for _, tt := range []struct {
		name, file string
		fleet      bool
		want       []string
	}{
		{"nothing written", who, false, nil},
		{"each sees some, and signs in", who + "rights:\n" + office + own + shop, true, nil},
		{"no way to sign in", who + "rights:\n" + office + own + shop, false,
			[]string{"tomas cannot sign in: people.yaml has no `mail` of theirs to send a link to"}},
		{"left out", who + "rights:\n" + office + own, true,
			[]string{"north sees nothing on the board: no entry of `rights` in people.yaml gives them a vehicle"}},
		{"a slip in a tag", who + "rights:\n" + office + own + "  shop: {who: [north], may: workshop, where: 'vehicle.tags[\"depot\"] == \"nrth\"'}\n", true,
			[]string{"\"shop\" in `rights` of people.yaml opens nothing: its `where` lets in no vehicle",
				"north sees nothing on the board: no entry of `rights` in people.yaml gives them a vehicle"}},
		{"a program", who + "programs:\n" + strings.Replace(key, "%", "north", 1), false, nil},
		{"a program with a slip", who + "programs:\n" + strings.Replace(key, "%", "nrth", 1), false,
			[]string{"\"gateway-3\" in `programs` of people.yaml can send nothing: its `where` lets in no vehicle"}},
	} {
		if got := Barred(directory(t, tt.file), vehicles, tt.fleet); !slices.Equal(got, tt.want) {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
	if got := Barred(directory(t, who+"rights:\n"+office), nil, false); got != nil {
		t.Errorf("without vehicles: %q", got)
	}
}
