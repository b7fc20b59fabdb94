package origin

import (
	_ "embed" // for the table
	"encoding/csv"
	"math"
	"slices"
	"strconv"
	"strings"
)

//go:embed profiles.csv
var text string

// Profile is of what a source consists.
type Profile struct {
	Name   string // "bearing steel"
	Family string // what is said where no more can be told: "steel or iron"
	Shares []Share
}

// Share is how much of a source one element is.
type Share struct {
	Analyte     string
	Least, Most float64 // % by mass
	Source      string  // of the figures, or "from memory"
}

// mean is the middle of the range, as a fraction.
func (s *Share) mean() float64 { return (s.Least + s.Most) / 200 }

// sd is the standard deviation of what may lie anywhere in the range (JCGM 100:2008,
// 4.3.7), as a fraction.
func (s *Share) sd() float64 { return (s.Most - s.Least) / 200 / math.Sqrt(3) }

// of returns the share of the analyte; nil where it is taken as absent.
func (p *Profile) of(analyte string) *Share {
	i := slices.IndexFunc(p.Shares, func(s Share) bool { return s.Analyte == analyte })
	if i < 0 {
		return nil
	}
	return &p.Shares[i]
}

var profiles = read(text)

// Profiles are all sources that are known, in the order of the table.
func Profiles() []Profile { return slices.Clone(profiles) }

// read reads the table. It is fixed when the program is built; a fault in it is a
// programmer's.
func read(text string) (all []Profile) {
	r := csv.NewReader(strings.NewReader(text))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		panic("profiles.csv: " + err.Error())
	}
	for _, row := range rows[1:] {
		if len(all) == 0 || all[len(all)-1].Name != row[0] {
			all = append(all, Profile{Name: row[0], Family: row[1]})
		}
		p := &all[len(all)-1]
		p.Shares = append(p.Shares, Share{row[2], number(row[3]), number(row[4]), row[5]})
	}
	return all
}

func number(s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		panic("profiles.csv: " + err.Error())
	}
	return v
}
