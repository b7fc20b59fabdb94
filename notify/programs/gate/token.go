package gate

import (
	"log/slog"
	"os"
	"path/filepath"

	"telltale/notify/people"
	"telltale/notify/programs"
)

// TokenFile reads by what a program's token is known.
func TokenFile(path string) (programs.Digest, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return programs.Digest{}, err
	}
	return programs.ReadDigest(string(text))
}

// tokens reads by what the tokens of all programs are known; relative paths begin in dir. A
// program whose file cannot be read has none, and the log says so.
func tokens(d *people.Directory, dir string, log *slog.Logger) programs.Tokens {
	out := programs.Tokens{}
	for _, p := range d.Programs() {
		if p.TokenFile == "" {
			continue
		}
		path := p.TokenFile
		if !filepath.IsAbs(path) {
			path = filepath.Join(dir, path)
		}
		t, err := TokenFile(path)
		if err != nil {
			log.Error("a program's token file cannot be used, so it cannot send", "program", p.ID, "error", err)
			continue
		}
		out[p.ID] = t
	}
	return out
}
