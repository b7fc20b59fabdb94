package intake

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"telltale/engine/meter"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// readQuantity reads {"value": 4, "unit": "L"}, or an ISO 8601 duration as a text,
// which becomes hours.
func readQuantity(dec *jsontext.Decoder, q *unit.Quantity) error {
	switch k := dec.PeekKind(); k {
	case '"':
		tok, err := dec.ReadToken()
		if err != nil {
			return err
		}
		h, err := parseHours(tok.String())
		*q = unit.Quantity{Value: h, Unit: "h"}
		return err
	case '{':
		var w struct {
			Value *float64 `json:"value"`
			Unit  *string  `json:"unit"`
		}
		if err := json.UnmarshalDecode(dec, &w); err != nil {
			return err
		}
		if w.Value == nil || w.Unit == nil {
			return errors.New(`incomplete; expected value and unit, like {"value":4,"unit":"L"}`)
		}
		*q = unit.Quantity{Value: *w.Value, Unit: *w.Unit}
		return nil
	default:
		return fmt.Errorf(`%s where a quantity is expected, like {"value":4,"unit":"L"}`, kindWord(k))
	}
}

// amount is the value of a reading: a number, or an ISO 8601 duration.
type amount struct {
	value float64
	hours bool // it was a duration, and value is in hours
}

func (a *amount) UnmarshalJSONFrom(dec *jsontext.Decoder) (err error) {
	if dec.PeekKind() != '"' {
		return json.UnmarshalDecode(dec, &a.value)
	}
	tok, err := dec.ReadToken()
	if err != nil {
		return err
	}
	a.hours = true
	a.value, err = parseHours(tok.String())
	return err
}

// isoDuration is ISO 8601-1:2019, 5.5.2.2, without years and months, which have
// no fixed number of hours: P2DT3H4M5S, or weeks alone. Only the last part may
// have a fraction, after a point or a comma.
var isoDuration = regexp.MustCompile(`^P(?:(\d+)W|(?:(\d+)D)?(T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?)?)$`)

var seconds = map[string]float64{"W": 7 * 86400, "D": 86400, "H": 3600, "M": 60, "S": 1}

var fraction = regexp.MustCompile(`[.,](\d{1,9})([HMSDW])$`)

// parseHours reads an ISO 8601 duration of a running meter, in hours. A day is 24
// hours of running.
func parseHours(s string) (float64, error) {
	bad := fmt.Errorf("%s is not an ISO 8601 duration in days, hours, minutes and seconds, like PT13H28M30S", quote(s))
	whole, rest := s, 0.0
	if m := fraction.FindStringSubmatch(s); m != nil {
		whole = strings.TrimSuffix(s, m[0]) + m[2]
		f, err := strconv.ParseFloat("0."+m[1], 64)
		if err != nil {
			return 0, bad
		}
		rest = f * seconds[m[2]]
	}
	m := isoDuration.FindStringSubmatch(whole)
	if len(s) > 64 || m == nil || whole == "P" || m[3] == "T" {
		return 0, bad
	}
	sum := rest
	for i, per := range []string{1: "W", 2: "D", 4: "H", 5: "M", 6: "S"} {
		if per == "" || m[i] == "" {
			continue
		}
		n, err := strconv.ParseFloat(m[i], 64)
		if err != nil {
			return 0, bad
		}
		sum += float64(n * seconds[per]) // rounded before it is added, on every machine
	}
	return sum / 3600, nil
}

// bounds of the quantities by kind, in base units.
var bounds = map[unit.Kind]float64{unit.Distance: meter.MostDistance, unit.Time: meter.MostRunning, unit.Volume: maxVolume, unit.Torque: maxTorque}

// checkQuantity asks for a quantity of one of the kinds, not negative and
// believable; who names what needs it, for the error text.
func checkQuantity(at, who string, q unit.Quantity, kinds ...unit.Kind) error {
	if err := checkUnit(at, who, q.Unit, kinds...); err != nil {
		return err
	}
	v, k, err := q.Base()
	if err != nil {
		return err
	}
	switch most := bounds[k]; {
	case math.IsNaN(v) || v < 0:
		return refuse(at+".value", "%s is negative", unit.Quantity{Value: q.Value})
	case v > most:
		return refuse(at+".value", "%s is more than %s can be", q, who)
	}
	return nil
}

// checkSome is checkQuantity for one that must not be 0; idle says why.
func checkSome(at, who, idle string, q unit.Quantity, kinds ...unit.Kind) error {
	err := checkQuantity(at, who, q, kinds...)
	if err == nil && q.Value == 0 {
		err = refuse(at+".value", "%s", idle)
	}
	return err
}

func checkUnit(at, who, u string, kinds ...unit.Kind) error {
	k, ok := unit.Of(u)
	if ok && u != "" && slices.Contains(kinds, k) {
		return nil
	}
	cure := who + " needs " + english.List("or", unit.Names(kinds...))
	switch {
	case u == "":
		return refuse(at+".unit", "missing, %s", cure)
	case !ok:
		return refuse(at+".unit", "unknown unit %s, %s", quote(u), cure)
	}
	return refuse(at+".unit", "%q measures %s, %s", u, k, cure)
}

// checkGiven tells a quantity that was left out from one that lacks its unit.
func checkGiven(at string, q unit.Quantity) error {
	if q == (unit.Quantity{}) {
		return refuse(at, "missing")
	}
	return nil
}
