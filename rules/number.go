package rules

import (
	"math"
	"strconv"
	"strings"

	"telltale/rules/english"
)

// nearness is the relative distance within which two values are equal.
const nearness = 1e-9

// Equal reports whether a and b are within 1e-9 of each other, relatively.
// Limits are compared with it, so that a value that reckoning left a hair
// under a limit has reached it. NaN equals nothing.
func Equal(a, b float64) bool {
	if a == b {
		return true
	}
	return math.Abs(a-b) <= nearness*math.Max(math.Abs(a), math.Abs(b)) && !math.IsInf(a-b, 0)
}

// finite is false for NaN and both infinities. Subtracting v from itself would say so
// too, but not where v is a product and the machine fuses the two.
func finite(v float64) bool { return math.Abs(v) <= math.MaxFloat64 }

// Format writes a number as [english.Number] does.
func Format(v float64) string { return english.Number(v) }

// round gives v rounded half away from zero to n decimals (-9..9).
func round(v float64, n int) float64 {
	p := math.Pow(10, math.Abs(float64(n)))
	if n < 0 {
		return math.Round(v/p) * p
	}
	if scaled := v * p; finite(scaled) {
		return math.Round(scaled) / p
	}
	return v
}

// plainNumber reports whether s is a number as rule files write them, and if
// not, what is wrong with it and how it should be written.
func plainNumber(s string) (v float64, wrong, cure string) {
	body := strings.TrimLeft(s, "+-")
	lower := strings.ToLower(body)
	switch {
	case strings.Contains(lower, "nan") || strings.Contains(lower, "inf"):
		return 0, "is not a number that can be judged", "write a plain decimal number"
	case strings.Contains(body, ","):
		return 0, "has a comma", "write " + strings.ReplaceAll(s, ",", "") + " for thousands, or a point for decimals"
	case strings.Contains(body, "_"):
		return 0, "has an underscore", "write " + strings.ReplaceAll(s, "_", "")
	case strings.HasPrefix(lower, "0x") || strings.HasPrefix(lower, "0o") || strings.HasPrefix(lower, "0b"):
		return 0, "is not decimal", "write a plain decimal number"
	case len(body) > 1 && body[0] == '0' && body[1] >= '0' && body[1] <= '9':
		return 0, "begins with a zero, which some read as octal", "write " + strings.TrimLeft(body, "0")
	case body == "" || body[0] < '0' || body[0] > '9':
		return 0, "is not a number", "write a plain decimal number, like 0.75"
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || !finite(v) {
		return 0, "is not a number", "write a plain decimal number, like 0.75"
	}
	return v, "", ""
}
