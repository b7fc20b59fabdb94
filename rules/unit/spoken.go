package unit

import "strings"

// spoken are the units as people write them out.
var spoken = map[string]string{
	"kilometre": "km", "kilometres": "km", "kilometer": "km", "kilometers": "km", "kms": "km", "mile": "mi", "miles": "mi",
	"litre": "L", "litres": "L", "liter": "L", "liters": "L", "l": "L", "quart": "qt", "quarts": "qt", "qts": "qt", "gallon": "gal", "gallons": "gal",
	"hour": "h", "hours": "h", "hrs": "h", "minute": "min", "minutes": "min",
}

// Spoken is the unit that a word such as miles or quarts names, by its name here; "" for
// any other word.
func Spoken(word string) string {
	word = strings.ToLower(word)
	if word == "km" || word == "mi" || word == "qt" || word == "gal" {
		return word
	}
	return spoken[word]
}
