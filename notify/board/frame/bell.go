package frame

import (
	"net/http"

	"telltale/notify/rights"
	"telltale/rules/english"
)

// ear is for whom a page listens. The zero ear hears of all vehicles, until the page is left.
type ear struct {
	// sees reports whether they may know of a vehicle.
	sees func(vehicle string) bool
	// still reports whether they may listen yet; asked each minute.
	still func() bool
	// payer is by whom the page is bounded; "" for nobody.
	payer string
}

// bell tells open pages of changes: who is signed in, of the vehicles that they may see, for
// as long as both are so.
func (f *Frame) bell() http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, hr *http.Request) {
		who, err := f.viewer(hr.Context(), hr)
		if err != nil || who == nil {
			http.Error(w, wordSignIn, http.StatusUnauthorized)
			return
		}
		r := &Request{Request: hr, Viewer: *who}
		sees := func(vehicle string) bool {
			if r.Viewer.Access.Sees() == "" {
				return true
			}
			_, err := f.VehicleTo(hr.Context(), r, rights.Glance, vehicle)
			return err == nil
		}
		if of := english.OneLine(hr.FormValue("of")); of != "*" && !sees(of) {
			http.Error(w, wordNothing, http.StatusNotFound)
			return
		}
		e := ear{sees: sees, still: func() bool {
			who, err := f.viewer(hr.Context(), hr)
			if err != nil || who == nil {
				return false // where nobody can be asked, nobody is let in either
			}
			r.Viewer = *who
			return true
		}}
		if !f.SignsIn() {
			e = ear{}
		}
		if f.Limits != nil {
			e.payer = f.payer(hr, who)
		}
		f.Live.serve(w, hr, e)
	})
}
