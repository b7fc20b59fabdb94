package table

import (
	"bytes"
	"reflect"
	"testing"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

// How a file seems to be written is how it is, and its columns are seen.
func TestSeems(t *testing.T) {
	encoded := func(b []byte, err error) []byte {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	const german = "Fahrzeug;Öl km;Cu\nBus 7;12.000;1,5\n"
	for name, c := range map[string]struct {
		raw  []byte
		want Writing
		head []string
	}{
		"commas":          {[]byte("Vehicle,Date,Km\nbus-07,2031-01-02,5\n"), Writing{"utf-8", "comma", 1}, []string{"Vehicle", "Date", "Km"}},
		"decimal commas":  {[]byte(german), Writing{"utf-8", "semicolon", 1}, []string{"Fahrzeug", "Öl km", "Cu"}},
		"windows":         {encoded(charmap.Windows1252.NewEncoder().Bytes([]byte(german))), Writing{"windows-1252", "semicolon", 1}, []string{"Fahrzeug", "Öl km", "Cu"}},
		"UTF-16":          {encoded(unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewEncoder().Bytes([]byte(german))), Writing{"utf-16", "semicolon", 1}, []string{"Fahrzeug", "Öl km", "Cu"}},
		"UTF-16 unmarked": {encoded(unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM).NewEncoder().Bytes([]byte("A\tB\n1\t2\n"))), Writing{"utf-16le", "tab", 1}, []string{"A", "B"}},
		"bars":            {[]byte("A|B, and more|C\n1|2|3\n"), Writing{"utf-8", "bar", 1}, []string{"A", "B, and more", "C"}},
		"quoted":          {[]byte("\"A; B\",\"C\nD\"\n1,2\n"), Writing{"utf-8", "comma", 1}, []string{"A; B", "C D"}},
		"one column":      {[]byte("A\n1\n"), Writing{"utf-8", "comma", 1}, []string{"A"}},
		"marked UTF-8":    {[]byte("\xEF\xBB\xBFA,B\n1,2\n"), Writing{"utf-8", "comma", 1}, []string{"A", "B"}},
	} {
		w := Seems(c.raw)
		looked, err := Look("t.csv", bytes.NewReader(c.raw), w, 1)
		if w != c.want || err != nil || !reflect.DeepEqual(looked.Headings, c.head) || looked.Rows != 1 || len(looked.First[0]) != len(c.head) {
			t.Errorf("%s: %+v, %+v (%v); want %+v, %q", name, w, looked, err, c.want, c.head)
		}
	}
}
