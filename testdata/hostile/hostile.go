// Package hostile is text as nobody should name a vehicle, but as a name or a note
// may come in. Tests run all of it through every output.
package hostile

import "strings"

// Text is what a name or a note may hold: line breaks that would begin a header, a
// section or a record, markup, formulas of spreadsheets, marks that turn the
// direction of writing, sequences that drive a terminal, bytes that are not UTF-8,
// templates, and more than anybody would write.
var Text = []string{
	"Bus\r\nBcc: all@larkfell.example\r\n\r\nhello",
	"Bus\nBcc: all@larkfell.example\n\nhello",
	"Bus\rBcc: all@larkfell.example",
	"Bus\r\n.\r\nMAIL FROM:<nobody@larkfell.example>\r\n",
	"Bus\u2028Bcc: all@larkfell.example\u2029\u0085x\vx\f",
	"=?utf-8?q?Bus?= <x@larkfell.example>, all@larkfell.example",
	"<script>alert(1)</script>", `"><img src=x onerror=alert(1)>`, "</style></title></textarea></div>{{.}}${1+1}", "javascript:alert(1)",
	"--part\r\nContent-Type: text/html\r\n\r\n<b>", "<!--", "]]>", "&lt;b&gt;", "%0d%0aBcc: x", "expression(alert(1));border:9px",
	"=cmd|' /C calc'!A0", "+1+1", "-1+1", "@SUM(1)", "\t=1+1", "\r=1+1", `a","=1+1`, "a;=1+1", "a\"\n=1+1,\"",
	"END:VEVENT\r\nBEGIN:VALARM\r\nTRIGGER:-PT1M", "x;VALUE=URI:http://larkfell.example,\\n",
	"\u202egnp.exe", "\u2066x\u2069\u200b\ufeff", "\u200fשלום", "a\u0000b\u001b[31mred\u001b]0;title\a", "\u009b31mred", "\x7f\b\b\b",
	"\xff\xfe\xc0\xaf", "\xff", "\xc3", "\xed\xa0\x80", "", " ", "\u00a0", "e\u0301" + strings.Repeat("\u0301", 400), "👩‍🔧🚌",
	"../../../etc/passwd", "C:\\con", "a/b", strings.Repeat("../", 200),
	strings.Repeat("long ", 2000), strings.Repeat("x", 10<<10), strings.Repeat("ü", 5<<10), strings.Repeat("<", 10<<10),
	strings.Repeat("w ", 30) + "\n[Cleared] all is well\n" + strings.Repeat("[Cleared] all is well ", 9),
}
