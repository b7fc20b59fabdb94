package chapters

import (
	"cmp"
	"sync"

	"gopkg.in/yaml.v3"
)

// work is an entry of a chapter: a rule, a task, or work that follows.
type work struct {
	Title    string
	FollowUp map[string]work `yaml:"follow up"`
}

// titles are the titles of all that the chapters name, by its name.
var titles = sync.OnceValue(func() map[string][]string {
	out := map[string][]string{}
	var take func(all map[string]work)
	take = func(all map[string]work) {
		for name, w := range all {
			out[name] = append(out[name], cmp.Or(w.Title, name))
			take(w.FollowUp)
		}
	}
	for _, c := range All() {
		var file struct{ Tasks, Rules map[string]work }
		if err := yaml.Unmarshal(c.Text, &file); err != nil {
			panic(err) // the chapters' tests load them
		}
		take(file.Tasks)
		take(file.Rules)
	}
	return out
})

// Wrote reports whether a chapter has a rule, task or follow-up of this name and title,
// "" for its name alone: then its words are ours, and not a fleet's own.
func Wrote(name, title string) bool {
	for _, t := range titles()[name] {
		if t == cmp.Or(title, name) {
			return true
		}
	}
	return false
}
