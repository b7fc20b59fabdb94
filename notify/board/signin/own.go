package signin

import "telltale/notify/people"

// OwnPath is an address of this board to go on to, "/" in place of any other, see [ownPath]:
// for other ways of signing in.
func OwnPath(to string) string { return ownPath(to) }

// MailOf is by what a person is known again, see [mailOf].
func MailOf(p *people.Person) string { return mailOf(p) }
