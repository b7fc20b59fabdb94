package passkey

// The words of passkeys.
const (
	whyNoAddress = "There are no passkeys: `board: {url: …}` of telltale.yaml does not say how people reach the board. Write it, with https and a name."
	whyNumbers   = "There are no passkeys: browsers allow them only where the board has a name. Write a name in place of the number into `board: {url: …}` of telltale.yaml."
	whyNoTLS     = "There are no passkeys: browsers allow them only over TLS. Give the board a certificate, and write https into `board: {url: …}` of telltale.yaml."
	whyOdd       = "There are no passkeys: browsers do not take the name in `board: {url: …}` of telltale.yaml. Write the whole name with its dots, in small letters, digits and hyphens."

	wordIn      = "Sign in with a passkey"
	wordMake    = "Make a passkey on this device"
	wordOffer   = "Next time, sign in without a mail"
	wordOfferIs = "A passkey lies on this device, and opens with what unlocks it: a finger, a face, a PIN. It stays on your own devices. Nobody can guess it, or trick you into giving it away."

	wordNoParty  = "There are no passkeys on this board."
	wordPerson   = "A passkey is a person's. This tablet has none."
	wordFleet    = "You sign in with the fleet's account, and not by a passkey of this board."
	wordOver     = "That took too long, or was sent twice. Please begin again."
	wordUnknown  = "This passkey is not known here. Sign in by mail, and make a new one under your name."
	wordRefused  = "This passkey could not be checked, so nobody is signed in. Try again, or sign in by mail."
	wordCopied   = "This passkey may have been copied to another device, so it no longer opens anything. Sign in by mail, take it away under your name, and make a new one."
	wordNotTaken = "The passkey could not be checked, so it was not taken. Please try again."
	wordTwice    = "This device has a passkey of yours already."
	wordMost     = "You have ten passkeys, and no more can be kept. Take one away first."
	wordGone     = "This passkey is not there any more."
	wordFirst    = "Sign in again first"
	wordFirstDo  = "You signed in more than 15 minutes ago. Sign in again: somebody else may have found this device open."
	wordStrong   = "Sign in with a passkey first"
	wordStrongDo = "You have a passkey, and you may change who else comes in. So a passkey of yours is needed to make another or to take one away. If you lost it, somebody else who runs the service can take it away for you; who runs it alone writes another mail address of theirs into people.yaml."
	wordAddFirst = "Make a passkey first"
	wordAddDo    = "To sign others out or to pair a tablet, you need a passkey. You have none yet. Make one here, then go on."
	wordAddNoWay = "To sign others out or to pair a tablet, you need a passkey, and this board can have none. "
)

// What a browser's refusals mean, by their names in WebAuthn level 3, sections 5.1.3 and
// 5.1.4. Whether there is no passkey on the device, or nobody wanted to show it, no browser
// tells (14.5.2).
var (
	wordsGet = map[string]string{
		"NotAllowedError": "Nobody was signed in: it was cancelled or took too long, or this device has no passkey for this board.",
		"SecurityError":   "This address may not ask for a passkey. Open the board by its usual address.",
		"":                "This device cannot sign in with a passkey just now. Try again, or ask for a mail instead.",
	}
	wordsMake = map[string]string{
		"NotAllowedError":   "No passkey was made: it was cancelled or took too long, or this device has none that asks who you are. If the device has no screen lock, set one up first.",
		"InvalidStateError": wordTwice,
		"SecurityError":     "This address may not make a passkey. Open the board by its usual address.",
		"ConstraintError":   "This device cannot ask who you are. Set up a screen lock with a PIN, a finger or a face, then try again.",
		"NotSupportedError": "This device makes no passkeys that this board can use.",
		"":                  "This device cannot make a passkey just now. Please try again.",
	}
)
