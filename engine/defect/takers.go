package defect

import "telltale/rules/applies"

// Takers are the tasks that take care of a defect reported of a component, or of the
// vehicle (""): those kept for it, else those of the vehicle, else the only one there is.
// name gives a component's name by its index.
func Takers(tasks []applies.Task, component string, name func(int) string) []applies.Task {
	some := func(of func(at applies.Task) bool) (out []applies.Task) {
		for _, at := range tasks {
			if at.Task.Reported && of(at) {
				out = append(out, at)
			}
		}
		return out
	}
	for _, of := range []func(at applies.Task) bool{
		func(at applies.Task) bool { return name(at.Component) == component },
		func(at applies.Task) bool { return at.Component < 0 },
	} {
		if list := some(of); len(list) > 0 {
			return list
		}
	}
	if list := some(func(applies.Task) bool { return true }); len(list) == 1 {
		return list
	}
	return nil
}
