package signin

// OwnPath is an address of this board to go on to, "/" in place of any other, see [ownPath]:
// for other ways of signing in.
func OwnPath(to string) string { return ownPath(to) }
