package defect

import "telltale/rules"

// Takers are the tasks that take care of a defect reported of a component, or of the
// vehicle (""): those kept for it, else those of the vehicle, else the only one there is.
// name gives a component's name by its index.
func Takers(tasks []rules.AppliedTask, component string, name func(int) string) []rules.AppliedTask {
	some := func(of func(at rules.AppliedTask) bool) (out []rules.AppliedTask) {
		for _, at := range tasks {
			if at.Task.Reported && of(at) {
				out = append(out, at)
			}
		}
		return out
	}
	for _, of := range []func(at rules.AppliedTask) bool{
		func(at rules.AppliedTask) bool { return name(at.Component) == component },
		func(at rules.AppliedTask) bool { return at.Component < 0 },
	} {
		if list := some(of); len(list) > 0 {
			return list
		}
	}
	if list := some(func(rules.AppliedTask) bool { return true }); len(list) == 1 {
		return list
	}
	return nil
}
