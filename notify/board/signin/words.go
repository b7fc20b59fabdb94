package signin

// The words of signing in.
const (
	wordNotYet    = "Not signed in yet: "
	wordAsk       = "Sign in to Telltale"
	wordAskLead   = "You get a mail with a link. There is no password."
	wordKept      = "You are not signed in, so nothing was stored. What you typed is kept on this page: sign in, and send it then."
	wordAgain     = "This needs a passkey, or the fleet's own sign-in, shown in the last 15 minutes. A link in a mail is not enough for it."
	wordAgainHere = "Before you sign out another device, sign in again here: you signed in more than 15 minutes ago."
	wordLost      = "You are not signed in, so nothing was stored. What you typed was too long to be kept: go back, and copy it before you sign in."
	wordFile      = "You are not signed in, so the file was not taken. Sign in, then choose it again."
	wordNoMail    = "Write your mail address, like ines@example.org."
	wordTooOften  = "Too many mails were asked for. Try again in %s."
	wordTrouble   = "This does not work just now. Try again in a minute."

	wordSent     = "Look into your mail"
	wordSentLead = "If %s is known here, a mail is on its way to it. It works for 10 minutes, in this browser."
	wordSixDigit = "The code has six digits."
	wordNoCode   = "That is not the code from the newest mail, or it was tried too often. A mail's code can be tried 5 times, and those of one address 10 times a day. The link in the mail still works in this browser."
	wordNotKnown = "This code is not valid any more. Ask for another mail."

	wordIsIt     = "Is it you?"
	wordIsItLead = "Press the button to sign in as %s on this device: %s."
	wordNoLink   = "This link does not work here."
	wordNoLinkDo = "A link works once, for 10 minutes, and only in the browser that asked for it. If you read your mail on another device, type the code from the mail into the page that asked. Or ask here for another mail."

	wordIn        = "You are signed in"
	wordInAs      = "You are signed in as "
	wordStillHere = "What you typed is still here, and not stored yet."
	wordOutLead   = "You are signed out on this device."

	wordEverybody = "Who is signed in, on which devices, and when each was used last, to ten minutes."
	// For who asks who did what.
	wordNobody  = "for an address that is nobody's"
	wordFor     = "for "
	wordWrong   = "wrong, used, or over"
	wordEnded   = "elsewhere"
	wordEndedOf = "of "
)
