package frame

// Passkey is a form that the script fills with what a browser signs; the part "passkey" of
// templates writes it. Without a script, and where the browser has no passkeys, it is not
// seen, and what is marked data-without="passkey" is.
type Passkey struct {
	// Make: a new passkey is made, not one shown.
	Make bool
	Path string // where it is sent; what is to be signed is asked at "ask" below it
	Says string // on its button
	// At is where it works alone, as browsers write the address.
	At string
	// Words are what is said of a browser's refusals, by their names; those of "" of every
	// other.
	Words map[string]string
	// Hidden are fields to send along.
	Hidden []Hidden
}

// Hidden is a field that is sent along.
type Hidden struct{ Name, Value string }

// Else are the words of every refusal that has none of its own.
func (p *Passkey) Else() string { return p.Words[""] }

// Named are the refusals that have words of their own.
func (p *Passkey) Named() map[string]string {
	out := map[string]string{}
	for name, words := range p.Words {
		if name != "" {
			out[name] = words
		}
	}
	return out
}
