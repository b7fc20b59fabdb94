package engine

// What answers rest on: the sample, and for words that look back the samples and
// exchanges before it.

func (x *facts) restsOnSample() { x.use(x.steps.steps[len(x.steps.steps)-1].id()) }

func (x *facts) restsOnAge() {
	x.restsOnSample()
	x.stated = x.stated || x.ageStated()
}

func (x *facts) restsOnAll() {
	x.restsOnSample()
	for i := range x.steps.steps[:len(x.steps.steps)-1] {
		x.useStep(i)
	}
}

func (x *facts) restsOnLastDrain() {
	x.restsOnSample()
	if e := x.steps.lastExchange(len(x.steps.steps) - 1); e >= 0 {
		x.useStep(e)
	}
}

// restsOnChange goes back to the sample before; what was drained between makes no
// difference to a difference of results.
func (x *facts) restsOnChange() {
	x.restsOnSample()
	for i := len(x.steps.steps) - 2; i >= 0; i-- {
		x.use(x.steps.steps[i].id())
		if x.steps.steps[i].sample != nil {
			return
		}
	}
}

func (x *facts) restsOnRun() {
	x.restsOnSample()
	for i := len(x.steps.steps) - 2; i >= 0; i-- {
		x.useStep(i)
		if x.steps.steps[i].sample != nil {
			return
		}
	}
}

// restsOnExchange goes back to the sample before the last exchange.
func (x *facts) restsOnExchange() {
	x.restsOnSample()
	seen := false // an exchange; the sample before it ends the search
	for i := len(x.steps.steps) - 2; i >= 0; i-- {
		s := &x.steps.steps[i]
		if s.sample == nil || !seen {
			x.useStep(i)
		}
		if seen && s.sample != nil {
			x.useStep(i)
			return
		}
		seen = seen || s.service != nil
	}
}
