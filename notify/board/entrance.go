package board

import (
	"slices"

	"telltale/notify/board/frame"
	"telltale/notify/board/signin"
	"telltale/notify/board/signin/fleet"
	"telltale/notify/board/signin/pair"
	"telltale/notify/board/signin/passkey"
)

// Entrance gives the frame a door at which people sign in: by a link in a mail, by a passkey
// and, where there is one, at the fleet's own provider; and at which tablets are paired.
func Entrance(f *frame.Frame, provider fleet.Config) {
	d := signin.New(f)
	f.Door = d
	if w := fleet.New(f, provider, d.Sessions.Bucket, d.SignIn, d.Wall); w != nil {
		d.Ways, d.Further = append(d.Ways, frame.Link{Words: wordFleet, Path: fleet.Path}), append(d.Further, w.Routes()...)
		d.Elsewhere = fleet.Theirs
	}
	keys, tablets := passkey.New(d), pair.New(d)
	d.Also, d.Offer = keys.Also, keys.Offer
	d.Tablet, d.Further = pair.Way, slices.Concat(d.Further, keys.Pages(), tablets.Pages())
}

// wordFleet is on the button that leads to the fleet's provider.
const wordFleet = "Sign in with the fleet's account"

// inAndOut are the pages of signing in, where people do.
func inAndOut(f *frame.Frame) []frame.Route {
	if d, ok := f.Door.(*signin.Door); ok {
		return slices.Concat(signin.Pages(d), d.WhileAsked(d.Further))
	}
	return nil
}
