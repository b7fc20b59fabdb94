package frame

import (
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"strings"

	"telltale/engine/alarm"
	"telltale/notify/board/form"
	"telltale/notify/stages"
)

//go:embed web/*.html
var web embed.FS

// base has the layout, the parts that all pages may use, see web/parts.html, and those of
// forms, see [form.Templates].
var base = template.Must(form.Templates(template.New("base").Funcs(template.FuncMap{
	"path":  Path,
	"stage": func(s alarm.Stage) Badge { return BadgeOf(s) },
	"dict":  dict,
})).ParseFS(web, "web/*.html"))

// Templates are those of one room of pages, with the parts of all pages among them.
type Templates struct{ t *template.Template }

// Parse reads a room's templates, web/*.html of its files, once as the program starts: a
// fault in one is a fault of this program.
func Parse(files fs.FS) Templates {
	return Templates{template.Must(template.Must(base.Clone()).ParseFS(files, "web/*.html"))}
}

// Body writes a template for the page's body.
func (t Templates) Body(name string, data any) (template.HTML, error) {
	var b strings.Builder
	err := t.t.ExecuteTemplate(&b, name, data)
	return template.HTML(b.String()), err
}

// Badge is a stage as pages show it: its word, and how much it stands out. Colour is a
// second signal beside both, for a warning and a caution alone (14 CFR 25.1322: red and
// amber).
type Badge struct {
	Word   string
	Weight int    // 0 to 3
	Colour string // the name of its style, "warning" or "caution"; "" for none
}

// BadgeOf is the badge of a stage.
func BadgeOf(s alarm.Stage) Badge {
	b := Badge{Word: stages.Of(s).Head, Weight: stages.Of(s).Weight}
	if s == alarm.Warning || s == alarm.Caution {
		b.Colour = string(s)
	}
	return b
}

// dict hands several values to a part: {{template "pager" dict "Next" .Next "Back" .Back}}.
func dict(pairs ...any) (map[string]any, error) {
	out := map[string]any{}
	for i := 0; i+1 < len(pairs); i += 2 {
		name, ok := pairs[i].(string)
		if !ok {
			return nil, fmt.Errorf("dict: %v is no name", pairs[i])
		}
		out[name] = pairs[i+1]
	}
	return out, nil
}
