package frame

import (
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"net/http"
)

//go:embed web/board.css
var style []byte

//go:embed web/board.js
var script []byte

//go:embed web/board.svg
var icon []byte

// The style sheet and the script are named by their hash, so that a browser keeps them and
// never uses those of another version.
var (
	stylePath  = named("board", style, ".css")
	scriptPath = named("board", script, ".js")
	iconPath   = named("board", icon, ".svg")
)

func named(name string, body []byte, ext string) string {
	sum := sha256.Sum256(body)
	return "/s/" + name + "." + hex.EncodeToString(sum[:6]) + ext
}

func asset(kind string, body []byte) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", kind)
		w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
		_, _ = w.Write(body) // whoever asked is gone
	})
}
