package wording

import (
	"fmt"
	"time"

	"telltale/rules/english"
)

// NearlyOver are how many days before a certificate ends people are told of it, and when it
// has ended. Common practice, no source: two weeks to order one, and three days for whoever
// was away.
var NearlyOver = [...]int{14, 3, 0}

// Certificate says that a certificate, for those names, ends or has ended: in a title, what
// follows of it, and what to do. left is until the end, on is its day as a reader writes it.
func Certificate(of []string, on string, left time.Duration) (title, what, do string) {
	do = "Renew it, and put the new files where the old ones are: the service reads them by itself."
	if left <= 0 {
		return "The certificate has ended", fmt.Sprintf("The certificate for %s ended on %s. Browsers and gateways refuse to connect, or warn.", english.List("and", of), on), do
	}
	in := "in less than a day"
	if days := int(left.Hours() / 24); days > 0 {
		in = "in " + english.Days(days)
	}
	return "The certificate ends " + in, fmt.Sprintf("The certificate for %s ends on %s, %s. From then on browsers and gateways refuse to connect, or warn.", english.List("and", of), on, in), do
}
