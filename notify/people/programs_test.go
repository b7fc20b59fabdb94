package people

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The public halves of keys that nobody has.
const (
	keyA = "UA3QTDOAUZOTDKBNIXNZUHAOVGMDQX36MEA4TAPCNZIVRNMU2EZJGDJI"
	keyB = "UBQQ76YFMFFYREGML5XKLRV6JIQGLNW4U2AA4YQLULOXBJTTXD5YPLAF"
)

const somePrograms = `programs:
  gateway-3: {key: ` + keyA + `, sends: [reading, meter-replaced], where: 'vehicle.tags["depot"] == "north"'}
  valley: {key: ` + keyB + `, sends: sample, asks: yes}
  till: {token file: till.sha256, sends: [service, reading]}
`

func TestPrograms(t *testing.T) {
	d := directory(t, somePrograms)
	if !d.Closed() || len(d.Programs()) != 3 {
		t.Fatalf("there are %d programs, closed: %t", len(d.Programs()), d.Closed())
	}
	south := Vehicle{ID: "bus-02", Tags: map[string]string{"depot": "south"}}
	for _, tt := range []struct {
		program int
		kind    string
		v       Vehicle
		want    bool
	}{
		{0, "reading", northBus, true}, {0, "meter-replaced", northBus, true}, {0, "sample", northBus, false}, {0, "reading", south, false},
		{0, "reading", Vehicle{ID: "unknown"}, false}, {1, "service", northBus, true}, {1, "sample", northBus, false}, {2, "sample", south, true}, {2, "reading", south, false},
	} {
		if p := d.Programs()[tt.program]; p.MaySend(tt.kind, tt.v) != tt.want {
			t.Errorf("%s may send a %s of %s: %t", p.ID, tt.kind, tt.v.ID, !tt.want)
		}
	}
	if p := d.Programs()[2]; !p.Asks || p.Operator || p.Key != keyB {
		t.Errorf("valley is read as %+v", p)
	}
	for text, closed := range map[string]bool{"programs: {}\n": true, "people: {}\n": false} {
		if d := directory(t, text); d.Closed() != closed || len(d.Programs()) != 0 {
			t.Errorf("%s: closed is %t, with %d programs", text, d.Closed(), len(d.Programs()))
		}
	}
}

// TestProgramSpeaks holds which vehicles a program may send of to the same condition in rights.
func TestProgramSpeaks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		where := rapid.SampledFrom([]string{`vehicle.tags["depot"] == "north"`, `vehicle.kind == "petrol engine"`, `vehicle.id startsWith "bus"`, `"maud" in vehicle.people`, `vehicle.tags["no"] != "x"`}).Draw(t, "where")
		d, err := Parse("p", []byte(threeOfThem+"rights:\n  all: {who: [ines], may: operator}\n  e: {who: [north], may: workshop, where: '"+where+"'}\nprograms:\n  p: {token file: t, sends: [reading], where: '"+where+"'}\n"))
		if err != nil {
			t.Fatal(err)
		}
		v := Vehicle{ID: rapid.SampledFrom([]string{"bus-1", "van-1"}).Draw(t, "id"), Kind: rapid.SampledFrom([]string{"gasoline engine", "van"}).Draw(t, "kind"),
			Tags: map[string]string{"depot": rapid.SampledFrom([]string{"north", "hills"}).Draw(t, "depot")}, People: rapid.SliceOfN(rapid.SampledFrom([]string{"maud", "ines"}), 0, 2).Draw(t, "people")}
		if got, want := d.Programs()[0].MaySend("reading", v), d.AccessBy("e").Roles(v) != nil; got != want {
			t.Fatalf("%s of %+v: %t, in rights %t", where, v, got, want)
		}
	})
}

func TestProgramsFaults(t *testing.T) {
	const seed = "SUAIBDPBAUTWCWBKIO6XHQNINK5FWJW4OHLXC3HQ2KFE4PEJUA44CNHTC4"
	_, err := Parse("p", []byte(`programs:
  a b: {key: `+keyA+`, sends: [reading]}
  b: {sends: [reading]}
  c: {key: `+keyB+`}
  d: {key: `+seed+`, sends: [reading]}
  e: {key: UABC, sends: [readings]}
  f: {key: `+keyB+`, sends: [reading], where: stage == "due"}
  g: {token file: t, asks: yes}
  h: {token file: t, key: `+keyB[:55]+`A, operator: yes, sends: [reading]}
  i: {token file: t, asks: perhaps, where: vehicle.kind == "bus"}
`))
	if err == nil {
		t.Fatal("no faults")
	}
	const want = `p:2:3: program "a b": a name has at most 64 letters, digits, - and _
      a b: {key: KEYA, sends: [reading]}
      ^^^
p:3:3: program "b" cannot sign in: it has no key and no token file
      b: {sends: [reading]}
      ^
hint: make a key, or a token, and paste what it prints: telltale programs add b
p:4:3: program "c" may do nothing
      c: {key: KEYB}
      ^
hint: say what it sends, like 'sends: [reading]'; there are vehicle, meter-replaced, reading, sample, service, answer, void
p:5:12: key is the secret half of a key, which must not be here
hint: take it out, make a new one with telltale programs add, and keep the secret half where the program runs
p:6:12: key "UABC" is not the public half of a user's key, U and 55 capital letters and digits
      e: {key: UABC, sends: [readings]}
               ^^^^
hint: telltale programs add makes one
p:6:26: sends must be vehicle, meter-replaced, reading, sample, service, answer or void, not "readings"
      e: {key: UABC, sends: [readings]}
                             ^^^^^^^^
hint: did you mean 'reading'?
p:7:3: program "f" has the same key as "c"
      f: {key: KEYB, sends: [reading], where: stage == "due"}
      ^
hint: make one for each: telltale programs add f
p:7:95: where: a right cannot hang on stage
      f: {key: KEYB, sends: [reading], where: stage == "due"}
                                                                                                  ^^^^^^^^^^^^^^
hint: compare the vehicle's id, kind, tags or people, like vehicle.tags["depot"] == "north"
p:8:3: program "g": by a token one can only send
      g: {token file: t, asks: yes}
      ^
hint: give it a key: telltale programs add g
p:9:27: key "UBQQ76YFMFFYREGML5XKLRV6JIQGLNW4U2AA4YQLULOXBJTTXD5YPLAA" is not the public half of a user's key, U and 55 capital letters and digits
      h: {token file: t, key: UBQQ76YFMFFYREGML5XKLRV6JIQGLNW4U2AA4YQLULOXBJTTXD5YPLAA, operator: yes, sends: [reading]}
                              ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
hint: telltale programs add makes one
p:9:95: program "h": an operator may send and ask everything
      h: {token file: t, key: UBQQ76YFMFFYREGML5XKLRV6JIQGLNW4U2AA4YQLULOXBJTTXD5YPLAA, operator: yes, sends: [reading]}
                                                                                                  ^^^
hint: delete 'sends', 'where' and 'asks', or 'operator'
p:10:3: program "i" may do nothing
      i: {token file: t, asks: perhaps, where: vehicle.kind == "bus"}
      ^
hint: say what it sends, like 'sends: [reading]'; there are vehicle, meter-replaced, reading, sample, service, answer, void
p:10:28: asks must be yes or no
      i: {token file: t, asks: perhaps, where: vehicle.kind == "bus"}
                               ^^^^^^^
hint: write yes or no, without quotes
p:10:44: program "i": where says of which vehicles it sends, and it sends nothing
      i: {token file: t, asks: perhaps, where: vehicle.kind == "bus"}
                                               ^^^^^^^^^^^^^^^^^^^^^
hint: delete it: what is asked is answered for all vehicles`
	got := strings.NewReplacer(keyA, "KEYA", keyB, "KEYB", "`", "'").Replace(err.Error())
	if got != want || strings.Contains(got, seed) {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}
